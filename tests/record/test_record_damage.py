"""Damaged, cut, foreign and newer files: one clear line, and never a wrong sample unseen."""

from __future__ import annotations

import contextlib
import os
import random
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from tautlog.archive.summary import summary_of
from tautlog.errors import RecordError
from tautlog.files import locks
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, add_marks, layout, open_record
from tautlog.record.additions import _add_entry
from tautlog.record.stored import UNFOLDED_BYTES

INSTRUMENT = Instrument("0.3", "pico", "e661", 62500.0, 8, ("force",), 256, 68)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return the bytes of a small record with marks."""
    path = tmp_path_factory.mktemp("good") / "drop.h5"
    counts = np.random.default_rng(3).integers(500, 30000, (256, 1), dtype=np.uint16)
    with RecordWriter.create(
        path,
        setup=DropSetup(mass_kg=9.0, target_n=1800.0, article="bridle"),
        calibration=Calibration(),
        instrument=INSTRUMENT,
    ) as writer:
        for number in (4, 5, 7):
            writer.append(Block(number, number, 0, 0, counts))
        writer.add_event(BoardEvent(0, "release-opened", 1030, 3, 0))
        writer.finish()
    add_marks(path, {"cfc": 60}, {"peak_force_n": 1.0})
    return path.read_bytes()


def refuse(path: Path, match: str) -> None:
    for use in (open_record, RecordWriter.resume, lambda p: add_marks(p, {}, {})):
        with pytest.raises(RecordError, match=match) as caught:
            use(path)
        assert caught.value.path == str(path)
        assert "\n" not in str(caught.value)


def read_all(path: Path) -> str:
    """Read everything that a record has; what its seal says."""
    read = open_record(path)
    read.trace()
    read.counts()
    return read.verify_seal().state


def test_not_there(tmp_path: Path) -> None:
    refuse(tmp_path / "nothing.h5", "does not exist")


def test_a_folder(tmp_path: Path) -> None:
    refuse(tmp_path, "is a folder, expected a record")


def test_no_ordinary_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.h5")
    refuse(tmp_path / "pipe.h5", "is not a regular file")


def test_zero_length(tmp_path: Path) -> None:
    (tmp_path / "drop.h5").touch()
    refuse(tmp_path / "drop.h5", "is empty")


@pytest.mark.parametrize("content", [b"x", b"time,force\n0,1\n", b"\x89HDF", bytes(5000)])
def test_not_hdf5(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "drop.h5").write_bytes(content)
    refuse(tmp_path / "drop.h5", "is not an HDF5 file")


def test_hdf5_of_somebody_else(tmp_path: Path) -> None:
    path = tmp_path / "other.h5"
    with h5py.File(path, "w") as file:
        file["data"] = [1, 2, 3]
    refuse(path, "is an HDF5 file but not a tautlog record")
    with h5py.File(path, "r+") as file:
        file.attrs["format"] = [1, 2]
    refuse(path, "is an HDF5 file but not a tautlog record")


def test_a_newer_format(tmp_path: Path, good: bytes) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = 7
    refuse(path, "has format version 7, this tautlog reads up to 2: install a newer tautlog")


def test_a_plain_reader_that_has_it_open_is_no_harm_but_stops_a_writer(
    tmp_path: Path, good: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locks, "TURN_S", 0.0)
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with h5py.File(path, "r"):
        assert read_all(path) == "intact"
        with pytest.raises(RecordError, match="is in use"):
            add_marks(path, {}, {})


@pytest.mark.parametrize(
    "name",
    ["trace", "trace/counts", "trace/blocks", "events", "setup", "calibration", "marks"],
)
def test_a_missing_part_is_damage(tmp_path: Path, good: bytes, name: str) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with h5py.File(path, "r+") as file:
        del file[name]
    refuse(path, "is damaged")


@pytest.mark.parametrize(
    ("place", "name", "value"),
    [
        ("/", "format_version", 0),
        ("/", "format_version", "one"),
        ("/trace/counts", "sample_rate_hz", 0.0),
        ("/trace/counts", "sample_rate_hz", np.nan),
        ("/trace/counts", "reduction", 0),
        ("/trace/counts", "samples_per_block", 0),
        ("/trace/counts", "channels", ["a", "b"]),
        ("/setup", "mass_kg", "nine"),
        ("/setup", "mass_kg", np.nan),
        ("/setup", "height_m", np.inf),
        ("/setup", "target_n", -1800.0),
        ("/setup", "mass_kg", 1e300),
        ("/calibration", "newton_per_volt", np.nan),
        ("/calibration", "newton_per_volt", 0.0),
        ("/calibration", "reference_v", -np.inf),
        ("/calibration", "reference_v", 5e-324),  # found by mutation: a step of 0 V
        ("/calibration", "expanded_u_fraction", np.nan),
        ("/calibration", "converter_bits", 0),
        ("/calibration", "converter_bits", 10**12),  # 2**converter_bits would fill the memory
        ("/calibration", "converter_bits", 12.5),
        ("/setup", "mass_kg", "nan"),
        ("/setup", "mass_kg", "9"),
        ("/trace/counts", "sample_rate_hz", 1e300),
        ("/trace/counts", "reduction", 8.5),
        ("/trace/counts", "reduction", "1" * 400),
        ("/trace/counts", "converter_bits", 10**12),
        ("/trace/counts", "channels", "force"),
        ("/trace/counts", "channels", ["force"] * 2000),
        ("/", "history_blocks", np.inf),
        ("/", "arming_json", '{"limits": [1]}'),
        ("/", "arming_json", '{"limits": {"rail_low": "a", "rail_high": 9}}'),
        ("/", "reception_json", '{"misfit_blocks": -1}'),
    ],
)
def test_attributes_that_make_no_sense_are_damage(
    tmp_path: Path, good: bytes, place: str, name: str, value: object
) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with h5py.File(path, "r+") as file:
        file[place].attrs[name] = value
    refuse(path, "is damaged")


def test_marks_that_are_no_json_are_left_out_and_named(tmp_path: Path, good: bytes) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    before = len(open_record(path).marks)
    with h5py.File(path, "r+") as file:
        file["/marks/1"].attrs["result_json"] = "{"
    record = open_record(path)
    assert len(record.marks) == before - 1
    assert [one.text for one in record.edited] == ["marks 1 was edited after it was written"]
    with h5py.File(path, "r+") as file:
        del file.attrs["seal_version"]
        for name in ("entry", "previous_sha256", "seal_sha256"):
            del file["/marks/1"].attrs[name]
    refuse(path, "is damaged")  # nothing tells that an older program wrote it otherwise


@pytest.mark.parametrize(
    "lines",
    [
        [(4, 0), (3, 256), (7, 512)],
        [(4, 0), (4, 256), (7, 512)],
        [(4, 1), (5, 256), (7, 512)],
        [(4, 0), (5, 256), (7, 768)],
        [(4, 0), (5, 512), (7, 256)],
        [(4, 0), (5, 256), (2**32 - 1, 512)],
        [(4, 0), (5, 256), (7, 300)],
        [],
    ],
)
def test_a_table_of_blocks_that_makes_no_sense_is_damage(
    tmp_path: Path, good: bytes, lines: list[tuple[int, int]]
) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with h5py.File(path, "r+") as file:
        file["trace/blocks"].resize(len(lines), 0)
        for place, (number, row) in enumerate(lines):
            file["trace/blocks"][place] = (number, row, 0, 0, 0)
    read = open_record(path)
    with pytest.raises(RecordError, match="is damaged"):
        read.trace()
    assert read.verify_seal().state == "broken"


# More in memory than on disk: each of these is 10 MB at most, and was read whole


def huge(name: str, rows: int, **more: object) -> Callable[[h5py.File], None]:
    """Put a data set that claims many lines in the place of one."""

    def put(file: h5py.File) -> None:
        old, attributes = file[name], dict(file[name].attrs)
        shape, dtype = (rows, *old.shape[1:]), old.dtype
        del file[name]
        made = file.create_dataset(name, shape, dtype, **more)
        made.attrs.update(attributes)

    return put


def zeros(file: h5py.File) -> None:
    """Zeros that are there, and are compressed to a thousandth."""
    huge("trace/counts", 1 << 26, compression="gzip", chunks=(1 << 22, 1))(file)
    for start in range(0, 1 << 26, 1 << 22):
        file["trace/counts"][start : start + (1 << 22)] = 0


def elsewhere(file: h5py.File) -> None:
    file.move("trace/counts", "counts")
    file["trace/counts"] = h5py.SoftLink("/counts")


def other_file(file: h5py.File) -> None:
    del file["events"]
    file["events"] = h5py.ExternalLink("other.h5", "/events")


def outside(file: h5py.File) -> None:
    huge("events", 3, external=[("/dev/zero", 0, 1 << 40)])(file)


def virtual(file: h5py.File) -> None:
    attributes = dict(file["trace/counts"].attrs)
    del file["trace/counts"]
    file.create_virtual_dataset("trace/counts", h5py.VirtualLayout((1 << 34, 1), "<u2"))
    file["trace/counts"].attrs.update(attributes)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (huge("trace/counts", 1 << 34, chunks=(1 << 16, 1)), "claims 34359738368 bytes"),
        (huge("trace/counts", 1 << 34, chunks=(1 << 16, 1), compression="gzip"), "claims"),
        (huge("trace/counts", 1 << 62), "claims"),
        (huge("trace/counts", 8, chunks=(1 << 27, 1), maxshape=(None, 1)), "in chunks of"),
        (huge("trace/blocks", 1 << 34, chunks=(1 << 10,)), "are read"),
        (huge("events", 1 << 34, chunks=(1 << 6,)), "are read"),
        (zeros, "claims 134217728 bytes"),
        (elsewhere, "is a link to something else"),
        (other_file, "is a link to something else"),
        (outside, "is in other files"),
        (virtual, "is in other files"),
    ],
)
def test_what_would_fill_the_memory_is_damage(
    tmp_path: Path, good: bytes, change: Callable[[h5py.File], None], words: str
) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    record = open_record(path)
    with h5py.File(path, "r+", libver="latest") as file:
        change(file)
    assert path.stat().st_size < 10_000_000
    tracemalloc.start()
    refuse(path, words)
    for read in (record.counts, record.trace, record.verify_seal):
        with contextlib.suppress(RecordError):
            read()
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most_bytes < UNFOLDED_BYTES
    assert "is damaged" in summary_of(path).problem


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"peak_force_n": NaN}', "NaN is not a JSON number"),
        ('{"peak_force_n": 1e999}', "too large for a number"),
        ('{"peak_force_n": 1' + "0" * 400 + "}", "too large for a number"),
        ('{"reasons": [' + "[" * 100 + "]" * 100 + "]}", "nests deeper"),
        ('{"note": "' + "x" * (1 << 22) + '"}', "a JSON text has"),
    ],
    ids=["NaN", "1e999", "400 digits", "deep", "long"],
)
def test_marks_that_nobody_can_work_with_are_damage(
    tmp_path: Path, good: bytes, monkeypatch: pytest.MonkeyPatch, text: str, words: str
) -> None:
    """Whoever can write the file can seal its entries too."""
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    with monkeypatch.context() as patched:
        patched.setattr(layout, "json_text", lambda value, name: text)
        add_marks(path, {}, {})
    refuse(path, words)
    assert "is damaged" in summary_of(path).problem


@pytest.mark.parametrize("factor", ["nan", "950", 0, 1e300, [1], {}, None])
def test_a_calibration_of_marks_that_makes_no_sense_is_damage(
    tmp_path: Path, good: bytes, factor: object
) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    told = dict.fromkeys(("file", "sha256", "by", "reason", "utc"), "x")
    add_marks(path, {"calibration": {**told, "measured": {"newton_per_volt": factor}}}, {})
    refuse(path, "is damaged")


def test_marks_that_could_not_be_read_again_are_not_written(tmp_path: Path, good: bytes) -> None:
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    for value in ("x" * (1 << 22), 10**400):
        with pytest.raises(ValueError, match=r"must have up to|too large for a number"):
            add_marks(path, {}, {"note": value})
    assert path.read_bytes() == good


@pytest.mark.parametrize("said", ["nan", "inf", "1" * 400, "a long way"])
def test_numbers_of_entries_that_are_none_are_damage(
    tmp_path: Path, good: bytes, said: str
) -> None:
    for where, told in (
        ("photos", {"size": said}),
        ("photos", {"size": "1", "offset_s": said}),
        ("shunt_checks", {"before_v": said, "after_v": "0.1"}),
        ("shunt_checks", {"before_v": "0.1", "after_v": said}),
    ):
        path = tmp_path / "drop.h5"
        path.write_bytes(good)
        _add_entry(path, where, told)
        refuse(path, "is damaged")


def test_a_cut_file_is_one_clear_line_wherever_it_is_cut(tmp_path: Path, good: bytes) -> None:
    path = tmp_path / "drop.h5"
    chance = random.Random(5)
    places = {1, 8, 96, 2048, len(good) - 1, *(chance.randrange(len(good)) for _ in range(150))}
    for place in places:
        path.write_bytes(good[:place])
        with pytest.raises(RecordError, match=r"is damaged or cut short|is not an HDF5 file"):
            read_all(path)


@pytest.mark.parametrize("part", range(4))
@pytest.mark.rows(1)
def test_flipped_bytes_are_an_error_or_a_broken_seal_or_change_nothing(
    tmp_path: Path, good: bytes, part: int
) -> None:
    """A thousand flips, a quarter of them in each part."""
    path = tmp_path / "drop.h5"
    path.write_bytes(good)
    whole = open_record(path)
    expected = whole.trace().force_n
    # Where the bytes are that mean something: everything before the padding of chunks.
    used = [i for i in range(0, len(good), 64) if any(good[i : i + 64])]
    chance = random.Random(7)
    flips = [
        (chance.choice(used) + chance.randrange(64), chance.randrange(1, 256)) for _ in range(1000)
    ]
    refused = broken = 0
    for place, bits in flips[part::4]:
        damaged = bytearray(good)
        damaged[place % len(good)] ^= bits
        path.write_bytes(damaged)
        try:
            state = read_all(path)
        except RecordError:
            refused += 1
            continue
        if state == "broken":
            broken += 1
            continue
        read = open_record(path)
        if state == "intact":
            np.testing.assert_array_equal(read.trace().force_n, expected)
            assert (read.setup, read.calibration) == (whole.setup, whole.calibration)
    assert refused > 12
    assert broken > 5
