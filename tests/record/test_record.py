"""The record: what goes in comes out, whatever happens to the writer."""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
from small_records import CALIBRATION, INSTRUMENT, PER_BLOCK, SETUP

import tautlog.record
from tautlog.errors import RecordError, RecordExistsError, TautlogError
from tautlog.files import locks
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, add_marks, disk, journal, open_record


def counts_of(number: int, instrument: Instrument = INSTRUMENT) -> np.ndarray:
    """Return the samples of a block, different for each number."""
    shape = (instrument.samples_per_block, len(instrument.channels))
    return np.random.default_rng(number).integers(200, 31000, shape, dtype=np.uint16)


def block_of(number: int, instrument: Instrument = INSTRUMENT, **fields: int) -> Block:
    told = {"stamp_us": (number * 16384) % 2**30, "flags": 0, "lost": 0, **fields}
    return Block(number=number, counts=counts_of(number, instrument), **told)


def create(path: Path, instrument: Instrument = INSTRUMENT) -> RecordWriter:
    return RecordWriter.create(
        path, setup=SETUP, calibration=CALIBRATION, instrument=instrument, campaign="kite"
    )


def write(path: Path, numbers: list[int], **fields: int) -> Path:
    with create(path) as writer:
        for number in numbers:
            writer.append(block_of(number, **fields))
        writer.finish()
    return path


def test_what_goes_in_comes_out(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    with create(path) as writer:
        assert writer.commit() == 0
        for number in range(100, 104):
            writer.append(block_of(number))
        assert writer.commit() == 104
        writer.finish("complete", "window complete")
    with open_record(path) as read:
        assert read.setup == SETUP
        assert isinstance(read.setup.mass_kg, float)
        assert read.calibration == CALIBRATION
        assert read.instrument == INSTRUMENT
        assert (read.status, read.status_text) == ("complete", "window complete")
        assert (read.format_version, read.campaign) == (1, "kite")
        assert read.first_sample_index == 100 * PER_BLOCK
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", read.utc)
        assert read.software.startswith("tautlog ")
        np.testing.assert_array_equal(
            read.counts(), np.concatenate([counts_of(n) for n in range(100, 104)])
        )
        assert read.block_table["block"].tolist() == [100, 101, 102, 103]
        assert read.block_table["row"].tolist() == [0, 1024, 2048, 3072]
        assert read.block_table["stamp_us"].tolist() == [n * 16384 for n in range(100, 104)]
        assert read.verify_seal().state == "intact"
        assert read.marks == ()
    assert not journal.journal_path(path).exists()


def test_trace_is_force_by_the_calibration(tmp_path: Path) -> None:
    trace = open_record(write(tmp_path / "drop.h5", [5, 6])).trace()
    counts = np.concatenate([counts_of(5), counts_of(6)])[:, 0]
    # 3.3 V over 4096 steps, 8 of them summed into a count, -950.25 N a volt.
    np.testing.assert_allclose(trace.force_n, counts * 3.3 / 32768 * -950.25, rtol=1e-14)
    assert trace.quantum_n == pytest.approx(3.3 / 32768 * 950.25, rel=1e-14)
    assert trace.sample_rate_hz == 62500.0
    assert trace.calibration_u_fraction == 0.03
    # The amplifier's rails, 0.05 V and 3.2 V.
    np.testing.assert_array_equal(
        trace.clipped, (counts * 3.3 / 32768 <= 0.05) | (counts * 3.3 / 32768 >= 3.2)
    )
    assert trace.release_time_s is None


def test_a_gap_is_nan_of_the_right_length_and_is_never_filled(tmp_path: Path) -> None:
    read = open_record(write(tmp_path / "drop.h5", [7, 8, 11, 12]))
    assert read.counts().shape == (4 * PER_BLOCK, 1)
    trace = read.trace()
    assert trace.force_n.size == 6 * PER_BLOCK
    missing = np.isnan(trace.force_n)
    assert missing[2 * PER_BLOCK : 4 * PER_BLOCK].all()
    assert missing.sum() == 2 * PER_BLOCK
    assert not trace.clipped[missing].any()
    factor = CALIBRATION.quantum_n(8)
    np.testing.assert_allclose(trace.force_n[4 * PER_BLOCK :][:3], -factor * counts_of(11)[:3, 0])


@pytest.mark.parametrize("fields", [{"lost": 3}, {"flags": 1}, {"flags": 4}, {"flags": 6}])
def test_a_block_whose_samples_stand_nobody_knows_where_is_missing(
    tmp_path: Path, fields: dict[str, int]
) -> None:
    path = tmp_path / "drop.h5"
    with create(path) as writer:
        writer.append(block_of(0))
        writer.append(block_of(1, **fields))
        writer.append(block_of(2))
        writer.finish()
    missing = np.isnan(open_record(path).trace().force_n)
    assert missing.nonzero()[0].tolist() == list(range(PER_BLOCK, 2 * PER_BLOCK))
    np.testing.assert_array_equal(
        open_record(path).counts()[PER_BLOCK : 2 * PER_BLOCK], counts_of(1)
    )


def test_an_unsettled_conversion_is_kept(tmp_path: Path) -> None:
    path = write(tmp_path / "drop.h5", [0, 1], flags=2)
    assert not np.isnan(open_record(path).trace().force_n).any()


def test_blocks_sent_again_are_ignored(tmp_path: Path) -> None:
    read = open_record(write(tmp_path / "drop.h5", [3, 4, 3, 4, 5, 5]))
    assert read.block_table["block"].tolist() == [3, 4, 5]


def test_events_count_from_the_start_of_the_trace_and_come_once(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    before = BoardEvent(0, "armed", 90 * PER_BLOCK, 17, 2)
    release = BoardEvent(1, "release-opened", 101 * PER_BLOCK + 5, 18, 0)
    later = BoardEvent(2, "release-opened", 102 * PER_BLOCK, 19, -7)
    with create(path) as writer:
        writer.add_event(before)
        writer.commit()
        for number in (100, 101, 102):
            writer.append(block_of(number))
        writer.add_event(release)
        writer.commit()
        for event in (before, release, later, later):
            writer.add_event(event)
        writer.finish()
    read = open_record(path)
    assert [event.number for event in read.events] == [0, 1, 2]
    assert [event.sample_index for event in read.events] == [-10240, 1029, 2048]
    assert (read.events[2].name, read.events[2].value) == ("release-opened", -7)
    assert read.trace().release_time_s == 1029 / 62500


def test_a_release_outside_the_trace_is_not_its_release(tmp_path: Path) -> None:
    for index in (-1, PER_BLOCK):
        path = tmp_path / f"{index}.h5"
        with create(path) as writer:
            writer.append(block_of(0))
            writer.add_event(BoardEvent(1, "release-opened", index, 0, 0))
            writer.finish()
        assert open_record(path).trace().release_time_s is None


def test_a_record_without_samples_keeps_its_events(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    with create(path) as writer:
        writer.add_event(BoardEvent(4, "went-safe", 12, 0, 1))
        writer.finish("aborted", "key off")
    read = open_record(path)
    assert read.events == (BoardEvent(4, "went-safe", 12, 0, 1),)
    assert read.trace().force_n.size == 0
    assert read.verify_seal().state == "intact"


def test_channels_are_columns(tmp_path: Path) -> None:
    two = Instrument("0.3", "pico", "e", 31250.0, 8, ("force", "excitation"), 512, 68)
    path = tmp_path / "drop.h5"
    with create(path, two) as writer:
        writer.append(block_of(1, two))
        writer.finish()
    read = open_record(path)
    quantum_n = CALIBRATION.quantum_n(8)
    for channel in (0, 1):
        np.testing.assert_allclose(
            read.trace(channel).force_n, -quantum_n * counts_of(1, two)[:, channel], rtol=1e-14
        )
    with pytest.raises(ValueError, match="`channel` must be 0 to 1, was 2"):
        read.trace(2)


@pytest.mark.parametrize("shape", [(PER_BLOCK, 2), (0, 1), (PER_BLOCK + 1, 1), (PER_BLOCK,)])
def test_blocks_of_another_shape_are_refused(tmp_path: Path, shape: tuple[int, ...]) -> None:
    with create(tmp_path / "drop.h5") as writer:
        with pytest.raises(ValueError, match="`block` must have"):
            writer.append(Block(0, 0, 0, 0, np.zeros(shape, np.uint16)))
        writer.finish()


def test_a_plain_reader_rebuilds_the_force(tmp_path: Path) -> None:
    path = write(tmp_path / "drop.h5", [2, 4])
    program = """
import sys, h5py, numpy as np
with h5py.File(sys.argv[1], "r") as f:
    assert f.attrs["format"] == "tautlog record" and f.attrs["format_version"] == 1
    counts, table, cal = f["trace/counts"], f["trace/blocks"][()], f["calibration"].attrs
    per, red = counts.attrs["samples_per_block"], counts.attrs["reduction"]
    newtons = cal["reference_v"] / (2.0 ** cal["converter_bits"] * red) * cal["newton_per_volt"]
    size = (table["block"][-1] - table["block"][0] + 1) * per
    force = np.full(int(size), np.nan)
    for i, line in enumerate(table):
        row = int(line["row"])
        place = int(line["block"] - table["block"][0]) * per
        force[place:place + per] = counts[row:row + per, 0] * newtons
    assert "limit_n" not in f["setup"].attrs and f["setup"].attrs["mass_kg"] == 9.0
    assert "tautlog" not in sys.modules
    np.save(sys.argv[2], force)
"""
    out = tmp_path / "force.npy"
    subprocess.run([sys.executable, "-c", program, path, out], check=True, timeout=60)
    np.testing.assert_allclose(np.load(out), open_record(path).trace().force_n, rtol=1e-14)


def test_every_name_in_a_record_is_in_the_description_of_the_format(tmp_path: Path) -> None:
    path = write(tmp_path / "drop.h5", [1])
    add_marks(path, {}, {})
    names = set()
    with h5py.File(path, "r") as file:

        def note(name: str, place: h5py.HLObject) -> None:
            names.update(name.split("/"), place.attrs)
            if isinstance(place, h5py.Dataset):
                names.update(place.dtype.names or ())

        names.update(file.attrs)
        file.visititems(note)
    words = set(re.findall(r"\w+", tautlog.record.__doc__ or ""))
    assert names - words == set()


def test_the_seal_is_what_the_description_says(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    with create(path) as writer:
        writer.append(block_of(9))
        writer.add_event(BoardEvent(1, "armed", 9 * PER_BLOCK, 5, 1))
        writer.finish()
    with h5py.File(path, "r") as file:
        digests = [hashlib.sha256(file["trace/counts"][()].astype("<u2").tobytes()).digest()]
        for name in ("trace/blocks", "events"):
            packed = b""
            for line in file[name][()]:
                for field in line.dtype.names:
                    value = line[field]
                    size = 32 if field == "name" else value.dtype.itemsize
                    data = bytes(value) if field == "name" else int(value).to_bytes(size, "little")
                    packed += data.ljust(size, b"\0")
            digests.append(hashlib.sha256(packed).digest())
        lines = []
        for place in ("/", "/calibration", "/setup", "/trace/counts"):
            for name in sorted(file[place].attrs):
                value = file[place].attrs[name]
                value = value.decode() if isinstance(value, bytes) else value
                value = value if isinstance(value, str) else value.tolist()
                if name not in ("seal_sha256", "seal_parts_json"):
                    lines.append(json.dumps([place, name, value]) + "\n")
        digests.append(hashlib.sha256("".join(lines).encode()).digest())
        stored = file.attrs["seal_sha256"]
    assert stored == hashlib.sha256(b"".join(digests)).hexdigest()


@pytest.mark.parametrize(
    "change",
    [
        lambda f: f["trace/counts"].__setitem__((5, 0), 1),
        lambda f: f["trace/counts"].resize(1000, 0),
        lambda f: f["trace/blocks"].__setitem__(0, (77, 0, 0, 0, 0)),
        lambda f: f["setup"].attrs.__setitem__("mass_kg", 10.0),
        lambda f: f["calibration"].attrs.__setitem__("newton_per_volt", 1000.0),
        lambda f: f["trace/counts"].attrs.__setitem__("sample_rate_hz", 50000.0),
        lambda f: f.attrs.__setitem__("utc", "2020-01-01T00:00:00.000Z"),
        lambda f: f["setup"].attrs.__setitem__("limit_n", 1.0),
    ],
)
def test_any_change_breaks_the_seal(tmp_path: Path, change) -> None:  # type: ignore[no-untyped-def]
    path = write(tmp_path / "drop.h5", [1])
    with h5py.File(path, "r+") as file:
        change(file)
    check = open_record(path).verify_seal()
    assert check.state == "broken"
    assert check.stored != check.computed


def test_marks_are_added_and_change_nothing_else(tmp_path: Path) -> None:
    path = write(tmp_path / "drop.h5", [1, 2])
    before = open_record(path)
    assert add_marks(path, {"cfc": 60}, {"peak_force_n": np.float64(3.5), "bounces": None}) == 1
    assert add_marks(path, {"cfc": None}, {"reasons": [{"code": "a", "text": "\u00b5"}]}) == 2
    after = open_record(path)
    assert [run.number for run in after.marks] == [1, 2]
    assert after.marks[0].settings == {"cfc": 60}
    assert after.marks[0].result == {"peak_force_n": 3.5, "bounces": None}
    assert after.marks[1].result["reasons"][0]["text"] == "\u00b5"
    assert after.verify_seal() == before.verify_seal()
    np.testing.assert_array_equal(after.counts(), before.counts())
    assert list(tmp_path.iterdir()) == [path]


def test_marks_come_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    path = write(tmp_path / "drop.h5", [1])
    for number in range(1, 12):
        assert add_marks(path, {}, {"n": number}) == number
    assert [run.result["n"] for run in open_record(path).marks] == list(range(1, 12))


@pytest.mark.parametrize("value", [float("nan"), object()])
def test_marks_that_are_no_json_are_refused(tmp_path: Path, value: object) -> None:
    path = write(tmp_path / "drop.h5", [1])
    with pytest.raises(ValueError, match="`result` must be a JSON object"):
        add_marks(path, {}, {"x": value})
    assert open_record(path).marks == ()


def test_long_and_odd_texts_survive(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    setup = DropSetup(note="x" * 200_000, article="a\0b", operator="\udcff")
    RecordWriter.create(path, setup=setup, calibration=CALIBRATION, instrument=INSTRUMENT).finish(
        "aborted"
    )
    read = open_record(path).setup
    assert (read.note, read.article, read.operator) == (setup.note, "a\ufffdb", "?")
    assert open_record(path).verify_seal().state == "intact"


# What can go wrong while writing


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(b"precious")
    with pytest.raises(RecordExistsError, match="exists already") as caught:
        create(path)
    assert path.read_bytes() == b"precious"
    assert caught.value.path == str(path)
    assert isinstance(caught.value, FileExistsError)
    assert isinstance(caught.value, TautlogError)
    assert list(tmp_path.iterdir()) == [path]


def test_folders_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot be created: No such file or directory"):
        create(tmp_path / "nowhere" / "drop.h5")
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match="cannot be created: Not a directory"):
        create(tmp_path / "file" / "drop.h5")


def write_and_fail(path: Path) -> None:
    with create(path) as writer:
        writer.append(block_of(0))
        writer.commit()
        writer.append(block_of(1))
        raise KeyboardInterrupt("hand on the keyboard")


def test_an_exception_leaves_a_readable_record_marked_aborted(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    with pytest.raises(KeyboardInterrupt):
        write_and_fail(path)
    read = open_record(path)
    assert (read.status, read.counts().shape) == ("aborted", (2 * PER_BLOCK, 1))
    assert read.status_text == "KeyboardInterrupt: hand on the keyboard"


def test_leaving_without_finishing_is_aborted(tmp_path: Path) -> None:
    with create(tmp_path / "drop.h5") as writer:
        writer.append(block_of(0))
    assert open_record(tmp_path / "drop.h5").status == "aborted"


def test_a_forgotten_writer_leaves_its_last_commit(tmp_path: Path) -> None:
    writer = create(tmp_path / "drop.h5")
    writer.append(block_of(0))
    writer.commit()
    writer.append(block_of(1))
    del writer
    read = open_record(tmp_path / "drop.h5")
    assert (read.status, read.counts().shape) == ("recording", (PER_BLOCK, 1))
    assert read.verify_seal().state == "unsealed"


def test_a_finished_writer_takes_nothing(tmp_path: Path) -> None:
    writer = create(tmp_path / "drop.h5")
    with pytest.raises(ValueError, match="`status` must be"):
        writer.finish("recording")
    writer.finish()
    for call in (writer.commit, writer.finish):
        with pytest.raises(RecordError, match="is finished"):
            call()


def write_to_a_full_disk(path: Path, monkeypatch: pytest.MonkeyPatch, moment: str) -> None:
    written = disk.write_all

    def full(raw: io.FileIO, offset: int, data: bytes) -> None:
        if moment != "journal" or str(raw.name).endswith(".journal"):
            raise OSError(28, "No space left on device")
        written(raw, offset, data)

    with create(path) as writer:
        for number in range(100):
            writer.append(block_of(number))
        assert writer.commit() == 100
        monkeypatch.setattr(disk, "write_all", full)
        for number in range(100, 5000 if moment == "append" else 200):
            writer.append(Block(number, 0, 0, 0, np.zeros((PER_BLOCK, 1), np.uint16)))
        if moment == "finish":
            writer.finish()
        writer.commit()


@pytest.mark.parametrize("moment", ["append", "commit", "journal", "finish"])
def test_a_full_disk_is_one_clear_line_and_costs_nothing_committed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    path = tmp_path / "drop.h5"
    with pytest.raises(RecordError, match=r"No space left .* before number 100 is on disk$"):
        write_to_a_full_disk(path, monkeypatch, moment)
    monkeypatch.undo()
    read = open_record(path)
    assert read.status == "recording"
    np.testing.assert_array_equal(read.counts()[-PER_BLOCK:], counts_of(99))


def test_a_full_disk_at_the_start_leaves_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk, "write_all", full)
    with pytest.raises(RecordError, match="cannot be written: No space left on device"):
        create(tmp_path / "drop.h5")
    assert list(tmp_path.iterdir()) == []


def test_a_record_being_written_is_locked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks, "TURN_S", 0.0)
    path = tmp_path / "drop.h5"
    with create(path) as writer:
        for use in (open_record, RecordWriter.resume, lambda p: add_marks(p, {}, {})):
            with pytest.raises(RecordError, match="in use by another program"):
                use(path)
        writer.finish()
    open_record(path)


def test_a_killed_record_is_resumed_where_it_ended(tmp_path: Path) -> None:
    path = tmp_path / "drop.h5"
    writer = create(path)
    event = BoardEvent(8, "release-opened", 51 * PER_BLOCK, 0, 0)
    for number in (50, 51):
        writer.append(block_of(number))
    writer.add_event(event)
    writer.commit()
    del writer
    with RecordWriter.resume(path) as resumed:
        assert resumed.next_block == 52
        assert resumed.commit() == 52
        for number in (51, 52, 53):
            resumed.append(block_of(number))
        resumed.add_event(event)
        resumed.finish("recovered", "by hand")
    read = open_record(path)
    assert read.block_table["block"].tolist() == [50, 51, 52, 53]
    assert (read.status, len(read.events)) == ("recovered", 1)
    assert read.trace().release_time_s == PER_BLOCK / 62500
    assert read.verify_seal().state == "intact"
    with pytest.raises(RecordError, match="is finished"):
        RecordWriter.resume(path)


def test_memory_does_not_grow_with_the_capture(tmp_path: Path) -> None:
    with create(tmp_path / "drop.h5") as writer:
        held = []
        for number in range(6000):
            writer.append(Block(number, 0, 0, 0, np.zeros((PER_BLOCK, 1), np.uint16)))
            held.append(len(writer._blocks))
        writer.finish()
    # Without any commit no more than 4 MiB wait: 2048 blocks.
    assert max(held) <= 2048


CHILD = """
import sys
from tests_record_child import run
run(sys.argv[1])
"""
CHILD_MODULE = """
import sys
import numpy as np
from tautlog.record import RecordWriter, layout
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup

layout.CHUNK_SAMPLES = 256  # the index of the samples grows fast
layout.CHUNK_BLOCKS = 16

def run(path):
    instrument = Instrument("0", "b", "s", 62500.0, 8, ("force",), 32, 68)
    writer = RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=instrument
    )
    number = 0
    while True:
        for _ in range(20):
            counts = (np.arange(32, dtype=np.uint32) + number * 32) % 32000
            writer.append(Block(number, 0, 0, 0, counts.astype(np.uint16)[:, None]))
            number += 1
        sys.stdout.write(f"{writer.commit()}\\n")
        sys.stdout.flush()
"""


def kill_once(folder: Path, number: int, wait_s: float) -> tuple[Path, int]:
    """Start a writer, kill it after a while; the record and the last block acknowledged."""
    path = folder / f"killed-{number}.h5"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), *sys.path])}
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, path], stdout=subprocess.PIPE, env=environment
    )
    assert child.stdout is not None
    try:
        select.select([child.stdout], [], [], 60)
        deadline = time.monotonic() + wait_s
        said = b""
        while (left_s := deadline - time.monotonic()) > 0:
            if select.select([child.stdout], [], [], left_s)[0]:
                said += os.read(child.stdout.fileno(), 65536)
        child.send_signal(signal.SIGKILL)
        said += child.stdout.read()
    finally:
        child.kill()
        child.wait()
        child.stdout.close()
    return path, int(said.rpartition(b"\n")[0].split()[-1])


def kill_many(folder: Path, times: int, seed: int) -> None:
    (folder / "tests_record_child.py").write_text(CHILD_MODULE)
    chance = random.Random(seed)
    for number in range(times):
        path, acknowledged = kill_once(folder, number, chance.uniform(0.01, 0.4))
        read = open_record(path)
        counts = read.counts()[:, 0]
        assert len(counts) >= acknowledged * 32 > 0
        np.testing.assert_array_equal(counts, np.arange(len(counts)) % 32000)
        assert read.status == "recording"
        RecordWriter.resume(path).finish("recovered", "after a kill")
        assert open_record(path).verify_seal().state == "intact"
        path.unlink()


def test_a_killed_writer_loses_nothing_acknowledged(tmp_path: Path) -> None:
    kill_many(tmp_path, times=4, seed=time.time_ns() % 2**32)


@pytest.mark.long
def test_two_hundred_killed_writers_lose_nothing_acknowledged(tmp_path: Path) -> None:
    kill_many(tmp_path, times=200, seed=1)
