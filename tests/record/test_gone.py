"""A record that is removed, moved or replaced while it is written is neither lost nor forgotten."""

import contextlib
import os
import shutil
import signal
import threading
from pathlib import Path

import numpy as np
import pytest
from fakes.crew import SilentCrew
from rehearsed import SPEED, drop, plan_for, played
from small_records import CALIBRATION, INSTRUMENT, SETUP

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.link import SerialLink
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.cli import run
from tautlog.drop.recovery import recover
from tautlog.errors import LinkError, RecordGoneError, RefusedError
from tautlog.model.stream import Block
from tautlog.record import RecordWriter, open_record
from tautlog.record.journal import journal_path
from tautlog.rehearsal.process import BoardProcess


def unlink(path):
    path.unlink()


def remove_folder(path):
    shutil.rmtree(path.parent)


def rename_folder(path):
    path.parent.rename(path.parent.with_name("elsewhere"))


def rename_file(path):
    path.rename(path.with_name("other.h5"))


def replace(path):
    """As a program does that copies, changes and puts back."""
    copy = path.with_name("copy")
    shutil.copy(path, copy)
    os.replace(copy, path)


def unlink_journal(path):
    journal_path(path).unlink()


WAYS = [unlink, remove_folder, rename_folder, rename_file, replace, unlink_journal]


def block(number):
    counts = np.full((INSTRUMENT.samples_per_block, len(INSTRUMENT.channels)), number, np.uint16)
    return Block(number, number * 1000, 0, 0, counts)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Where the record is; the present folder is another."""
    (tmp_path / "here").mkdir()
    (tmp_path / "records").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "records"


def writer_of(path):
    return RecordWriter.create(path, setup=SETUP, calibration=CALIBRATION, instrument=INSTRUMENT)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("after", [0, 1, 5])
def test_what_was_committed_is_under_another_name(folder, way, after):
    path = folder / "drop.h5"
    writer = writer_of(path)
    for number in range(after):
        writer.append(block(number))
        writer.commit()
    way(path)
    writer.append(block(after))
    with pytest.raises(RecordGoneError) as caught:
        writer.commit()
    saved = Path(caught.value.saved)
    assert str(path) in str(caught.value)
    assert str(saved) in str(caught.value)
    record = open_record(saved)
    assert record.status == "recording"
    assert list(record.block_table["block"]) == list(range(after + 1))


@pytest.mark.parametrize("way", WAYS)
def test_a_finished_record_is_saved_whole(folder, way):
    path = folder / "drop.h5"
    writer = writer_of(path)
    writer.append(block(0))
    way(path)
    with pytest.raises(RecordGoneError) as caught:
        writer.finish()
    assert caught.value.whole
    assert open_record(caught.value.saved).verify_seal().state == "intact"


def test_another_file_under_the_name_stays_as_it_is(folder):
    """Neither it nor its journal are touched."""
    path = folder / "drop.h5"
    writer = writer_of(path)
    for one in (path, journal_path(path)):
        one.unlink()
        one.write_text("somebody else's")
    with pytest.raises(RecordGoneError):
        writer.commit()
    assert path.read_text() == journal_path(path).read_text() == "somebody else's"


def test_withdrawing_touches_no_other_file(folder):
    path = folder / "drop.h5"
    writer = writer_of(path)
    path.unlink()
    path.write_text("somebody else's")
    writer.withdraw()
    assert path.read_text() == "somebody else's"


# Whole drops


class Meddler(SilentCrew):
    """Does something to the record at one block after the release."""

    def __init__(self, path, way, after):
        super().__init__()
        self.path, self.way, self.left = path, way, after

    def block(self, block):
        if "released" in self.told:
            self.left -= 1
            if self.left == 0:
                self.way(self.path)


def acknowledged(monkeypatch):
    """Every acknowledgement that goes out."""
    seen = []
    real = Session.acknowledge
    monkeypatch.setattr(
        Session,
        "acknowledge",
        lambda self, number, **more: seen.append(number) or real(self, number, **more),
    )
    return seen


@pytest.mark.parametrize(("way", "after"), [(unlink, 3), (remove_folder, 90), (replace, 40)])
@pytest.mark.rows(1)
def test_a_drop_whose_record_goes_is_recovered_whole(folder, monkeypatch, way, after):
    rig = played(None)
    plan = plan_for(rig, folder / "drop.h5")
    seen = acknowledged(monkeypatch)
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(RecordGoneError, match="keeps the event") as caught:
            drop(board, plan, Meddler(plan.path, way, after))
        saved = Path(caught.value.saved)
        held = open_record(saved)
        # Nothing is acknowledged that is not in the file that was saved.
        assert max(seen) <= int(held.block_table["block"][-1]) + 1
        outcome = until_held(board, saved)
    marks = told_of(assess(open_record(saved), cfc=180))
    assert outcome.missing_blocks == 0
    assert marks["missing_samples"] == 0
    assert marks["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)
    assert marks["samples"] / marks["sample_rate_hz"] - marks["release_time_s"] >= 1.0


def test_a_record_that_goes_before_the_release_calls_the_drop_off(folder):
    rig = played(None)
    plan = plan_for(rig, folder / "drop.h5", countdown_s=60.0)
    crew = SilentCrew(armed=lambda: unlink(plan.path))
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(RecordGoneError, match=r"called off.*state safe"):
            drop(board, plan, crew)
        with SerialLink(board.url) as link:
            assert Session(link).greet().state == "safe"
    assert rig.release_at is None


@pytest.mark.wide
def test_a_record_that_goes_while_it_is_recovered(folder, monkeypatch):
    """The board keeps the event, and the copy can be completed again."""
    rig = played("cable-pulled")
    plan = plan_for(rig, folder / "drop.h5")
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(OSError, match="recover"):
            drop(board, plan)
        real, calls = RecordWriter.commit, []

        def commit(self):
            calls.append(1)
            if len(calls) == 1:
                unlink(plan.path)
            return real(self)

        monkeypatch.setattr(RecordWriter, "commit", commit)
        with pytest.raises(RecordGoneError, match="keeps the event") as caught:
            until_held(board, plan.path)
        outcome = until_held(board, Path(caught.value.saved))
    assert outcome.missing_blocks == 0
    assert told_of(assess(open_record(outcome.path), cfc=180))["missing_samples"] == 0


def until_held(board, path):
    for _ in range(60):
        with SerialLink(board.url) as link:
            try:
                return recover(Session(link), path)
            except RefusedError:
                pass
        threading.Event().wait(0.6)  # let its silence pass
    raise AssertionError("the board never held its event")


# A program that is told to end while it recovers


@pytest.fixture
def holding(folder, monkeypatch):
    """A board that holds the event of a drop whose cable was pulled; its record stays behind."""
    monkeypatch.chdir(folder)
    rig = played("cable-pulled")
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(OSError, match="recover"):
            drop(board, plan_for(rig, folder / "drop.h5"))
        for _ in range(60):
            with contextlib.suppress(LinkError, RefusedError):
                if state_of(board) == "held":
                    break
            threading.Event().wait(0.6)  # let its silence pass
        yield board


def state_of(board):
    with SerialLink(board.url) as link:
        return Session(link).greet().state


def signalled(monkeypatch, where, name, number, after):
    """Give a signal at a call of a method; restored by the caller."""
    real, calls = getattr(where, name), []

    def called(self, *given, **more):
        calls.append(1)
        if len(calls) == after:
            signal.raise_signal(number)
        return real(self, *given, **more)

    monkeypatch.setattr(where, name, called)


# What is left of the begun record may come in one piece.
WHERE = {"drop.h5": (Receiver, "__init__", 1), "new.h5": (RecordWriter, "append", 2)}
SAID = {signal.SIGTERM: "SIGTERM", signal.SIGINT: "Ctrl-C"}


@pytest.mark.parametrize("number", SAID, ids=SAID.get)
@pytest.mark.parametrize("into", ["drop.h5", "new.h5"])
@pytest.mark.rows(1)
def test_a_signal_while_it_is_recovered(holding, folder, monkeypatch, capsys, number, into):
    """One clear line; the board holds all of it; what came is unfinished, and is gone on with."""
    if into == "new.h5":
        (folder / "drop.h5").unlink()
    given = ["recover", "--port", holding.url, "--link-timeout", "6"]
    with monkeypatch.context() as patched:
        where, name, after = WHERE[into]
        signalled(patched, where, name, number, after)
        assert run([*given, "--out", into] if into == "new.h5" else given) == 1
    told = capsys.readouterr().err.strip().splitlines()[-1]
    assert f"stopped by {SAID[number]}: the data so far is in" in told
    assert f"{into}, which is not finished; the board still holds the event" in told
    assert "Traceback" not in told
    left = open_record(folder / into)
    assert left.status == "recording"
    before = left.counts()
    assert state_of(holding) == "held"
    # The next call goes on with the same file, and nothing that was in it changes.
    assert run(given) == 0
    assert [one.name for one in folder.glob("*.h5")] == [into]
    whole = open_record(folder / into)
    assert (whole.status, whole.verify_seal().state) == ("recovered", "intact")
    np.testing.assert_array_equal(whole.counts()[: before.shape[0]], before)
    assert assess(whole, cfc=180).marks.missing_samples == 0
    assert state_of(holding) == "safe"


def test_a_signal_before_anything_was_written(holding, folder, monkeypatch, capsys):
    before = (folder / "drop.h5").read_bytes()
    with monkeypatch.context() as patched:
        signalled(patched, Session, "ask", signal.SIGTERM, after=1)
        assert run(["recover", "--port", holding.url, "--link-timeout", "6"]) == 1
    told = capsys.readouterr().err.strip().splitlines()[-1]
    assert "stopped by SIGTERM: no record was made or changed" in told
    assert (folder / "drop.h5").read_bytes() == before
    assert [one.name for one in folder.iterdir()] == ["drop.h5"]
    assert state_of(holding) == "held"


def test_a_signal_before_the_first_block_leaves_no_new_record(holding, folder, monkeypatch, capsys):
    (folder / "drop.h5").unlink()
    new = ["recover", "--port", holding.url, "--link-timeout", "6", "--out", "new.h5"]
    with monkeypatch.context() as patched:
        signalled(patched, Receiver, "__init__", signal.SIGTERM, after=1)
        assert run(new) == 1
    assert "no record was made; the board still holds" in capsys.readouterr().err
    assert not list(folder.glob("new*"))
    assert state_of(holding) == "held"
