"""The journal: whatever write was the last before a kill, every commit is still there."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tautlog.errors import RecordError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, disk, journal, layout, open_record
from tautlog.record.journal import Journal
from tautlog.record.journaled_file import JournaledFile

GUARD = b"0123456789abcdef0123456789abcdef"
SMALL = Instrument("0.1", "emulated", "e6", 62500.0, 8, ("force",), 32, 64)


class Disk:
    """Notes every change of every file, in order, and can rebuild any state between."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.changes: list[tuple[str, str, int, bytes]] = []
        noted = self

        class Raw(io.FileIO):
            def truncate(self, size: int | None = None) -> int:
                noted.changes.append((str(self.name), "truncate", size or 0, b""))
                return super().truncate(size)

        def open_raw(path: Path, mode: str) -> io.FileIO:
            if "w" in mode or "x" in mode:
                noted.changes.append((str(path), "truncate", 0, b""))
            return Raw(str(path), mode.replace("b", ""))

        def write_all(raw: io.FileIO, offset: int, data: bytes) -> None:
            noted.changes.append((str(raw.name), "write", offset, bytes(data)))
            whole(raw, offset, data)

        whole = disk.write_all
        monkeypatch.setattr(disk, "open_raw", open_raw)
        monkeypatch.setattr(disk, "write_all", write_all)

    def states(self):  # type: ignore[no-untyped-def]
        """Yield (changes done, files) for each prefix, and for each write half done."""
        files: dict[str, bytearray] = {}
        for done, (name, kind, at, data) in enumerate(self.changes):
            content = files.setdefault(name, bytearray())
            if kind == "truncate":
                resize(content, at)
            else:
                for part in (data[: len(data) // 2], data):
                    resize(content, max(len(content), at + len(part)))
                    content[at : at + len(part)] = part
                    if part is not data:
                        yield done, files
            yield done + 1, files


def resize(content: bytearray, size: int) -> None:
    del content[size:]
    content.extend(bytes(size - len(content)))


def write_record(path: Path, noted: Disk, commits: int) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Write a record in small commits; its samples, and (changes, blocks) at each commit."""
    random = np.random.default_rng(1)
    samples = random.integers(0, 32760, (commits * 40, 32, 1), dtype=np.uint16)
    writer = RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=SMALL
    )
    done = [(len(noted.changes), 0)]
    number = 0
    for _ in range(commits):
        for _ in range(int(random.integers(1, 40))):
            writer.append(Block(number, number, 0, 0, samples[number]))
            number += 1
        writer.add_event(BoardEvent(number, "release-opened", number, 0, 0))
        assert writer.commit() == number
        done.append((len(noted.changes), number))
    writer.finish()
    return samples[:number].reshape(-1, 1), done


@pytest.mark.wide
def test_a_kill_between_or_within_any_two_writes_loses_no_committed_sample(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Small chunks, so that the index of the samples grows and its nodes are split.
    monkeypatch.setattr(layout, "CHUNK_SAMPLES", 64)
    monkeypatch.setattr(layout, "CHUNK_BLOCKS", 16)
    changed = Disk(monkeypatch)
    path = tmp_path / "written.h5"
    samples, done = write_record(path, changed, commits=10)
    monkeypatch.undo()
    copy = tmp_path / "killed.h5"
    checked = settled = 0
    for changes, files in changed.states():
        committed = [blocks for at, blocks in done if at <= changes]
        if not committed:
            continue  # nobody was told of this file yet
        copy.write_bytes(files[str(path)])
        journal.journal_path(copy).write_bytes(files[str(journal.journal_path(path))])
        settled += journal.settle(copy)
        opened = open_record(copy)
        counts = opened.counts()
        rows = committed[-1] * SMALL.samples_per_block
        assert len(counts) >= rows, changes
        np.testing.assert_array_equal(counts, samples[: len(counts)])
        assert opened.trace().force_n.size == len(counts)
        assert opened.status in ("recording", "complete")
        assert not journal.journal_path(copy).exists()
        checked += 1
    assert checked > 150
    assert settled > 20  # or the journal was never needed and this test shows nothing


def test_without_the_journal_samples_would_be_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(layout, "CHUNK_SAMPLES", 64)
    monkeypatch.setattr(layout, "CHUNK_BLOCKS", 16)
    changed = Disk(monkeypatch)
    path = tmp_path / "written.h5"
    _, done = write_record(path, changed, commits=6)
    monkeypatch.undo()
    copy = tmp_path / "killed.h5"
    lost = 0
    for changes, files in changed.states():
        committed = [blocks for at, blocks in done if at <= changes]
        if not committed:
            continue
        copy.write_bytes(files[str(path)])
        try:
            rows = len(open_record(copy).counts())
        except RecordError:
            rows = -1
        lost += rows < committed[-1] * SMALL.samples_per_block
    assert lost > 0


WRITES = st.tuples(st.integers(len(GUARD), 20000), st.integers(0, 9000), st.integers(1, 255))


@settings(max_examples=40, deadline=None)
@given(commits=st.lists(st.lists(WRITES, max_size=4), min_size=1, max_size=4))
def test_any_writes_and_any_kill_leave_a_committed_content(
    tmp_path_factory: pytest.TempPathFactory, commits: list[list[tuple[int, int, int]]]
) -> None:
    folder = tmp_path_factory.mktemp("any")
    path, model = folder / "file", bytearray(GUARD)
    with pytest.MonkeyPatch.context() as monkeypatch:
        changed = Disk(monkeypatch)
        file = JournaledFile(path, GUARD, new=True)
        file.write(GUARD)
        file.commit()
        done = [(len(changed.changes), bytes(model))]
        for writes in commits:
            for at, length, value in writes:
                if length:
                    file.seek(at)
                    file.write(bytes([value]) * length)
                    resize(model, max(len(model), at + length))
                    model[at : at + length] = bytes([value]) * length
                elif at > len(model):
                    file.truncate(at)
                    resize(model, at)
            file.seek(0)
            read = file.read()
            file.commit()
            done.append((len(changed.changes), bytes(model)))
            if read != model:
                break
        file.close()
    assert read == model
    assert path.read_bytes() == model
    copy = folder / "killed"
    for changes, files in changed.states():
        before = [content for at, content in done if at <= changes]
        after = [content for at, content in done if at > changes]
        if not before:
            continue
        copy.write_bytes(files[str(path)])
        journal.journal_path(copy).write_bytes(files[str(journal.journal_path(path))])
        journal.settle(copy)
        # What was appended and not committed may stand behind the committed content.
        wanted = [before[-1], *after[:1]]
        assert any(copy.read_bytes().startswith(content) for content in wanted)


def test_a_file_gets_shorter_only_when_committed(tmp_path: Path) -> None:
    path = tmp_path / "file"
    file = JournaledFile(path, GUARD, new=True)
    file.write(GUARD + b"x" * 5000)
    file.commit()
    file.truncate(40)
    assert path.stat().st_size == 5032
    file.commit()
    assert path.stat().st_size == 40
    file.close()


def test_a_journal_of_another_file_is_not_applied(tmp_path: Path) -> None:
    path, other = tmp_path / "mine", tmp_path / "other"
    other.write_bytes(b"f" * 9000)
    page = {0: b"j" * 4096}
    journal.journal_path(other).write_bytes(Journal(GUARD, 9000, page).packed())
    assert journal.settle(other) is False
    assert other.read_bytes() == b"f" * 9000
    path.write_bytes(GUARD + b"f" * 9000)
    journal.journal_path(path).write_bytes(Journal(GUARD, 9000, page).packed())
    assert journal.settle(path) is True
    assert path.read_bytes() == b"j" * 4096 + b"f" * 4904


@given(st.binary(max_size=200), st.integers(0, 4200), st.integers(1, 255))
def test_a_damaged_journal_is_none(tail: bytes, place: int, flip: int) -> None:
    whole = bytearray(Journal(GUARD, 9000, {2: b"p" * 808}).packed())
    read = journal.unpacked(bytes(whole) + tail)
    assert read is not None
    assert read.pages == {2: b"p" * 808}
    whole[place % len(whole)] ^= flip
    assert journal.unpacked(bytes(whole) + tail) is None
    assert journal.unpacked(tail) is None


def test_the_first_refusal_of_the_disk_leaves_the_last_commit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    file = JournaledFile(path, GUARD, new=True)
    file.write(GUARD + b"old")
    file.commit()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk, "write_all", full)
    file.seek(32)
    file.write(b"new and longer")
    monkeypatch.undo()
    with pytest.raises(OSError, match="No space"):
        file.commit()
    file.seek(0)
    file.write(b"nothing of this arrives")
    file.close()
    file.close()
    assert path.read_bytes()[:35] == GUARD + b"old"


def test_a_second_writer_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "file"
    file = JournaledFile(path, GUARD, new=True)
    file.write(GUARD)
    file.commit()
    with pytest.raises(disk.FileLockedError, match="another program"):
        JournaledFile(path, GUARD, new=False)
    file.close()
    JournaledFile(path, GUARD, new=False).close()
