"""Losing the terminal: real programs, pipes, terminals and signals, on a rehearsed board."""

import contextlib
import os
import queue
import select
import signal
import subprocess
import sys
import threading
import time

import pytest
from fakes.crew import SilentCrew
from rehearsed import SPEED, drop, plan_for, played

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.errors import AbortedError
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess

DEADLINE_S = 90.0
GIVEN = ("--mass", "9", "--height", "1.2", "--target", "1800", "--yes")
pty = pytest.importorskip("pty", reason="no terminals here")


def command(board, path, *more):
    port = ("--port", board.url, "--link-timeout", "6")
    return [sys.executable, "-m", "tautlog", "drop", *port, *GIVEN, "--out", str(path), *more]


class Watched:
    """A program whose output is read until a word comes."""

    def __init__(self, words, cwd, terminal=False):
        if terminal:
            self._own, theirs = os.openpty()
            self.process = subprocess.Popen(
                words,
                cwd=cwd,
                stdin=theirs,
                stdout=theirs,
                stderr=theirs,
                start_new_session=True,
                preexec_fn=_in_front,
            )
            os.close(theirs)
        else:
            self._own, theirs = os.pipe()
            self.process = subprocess.Popen(
                words, cwd=cwd, stdout=theirs, stderr=theirs, preexec_fn=_heeds
            )
            os.close(theirs)
        self.said = ""
        self._came = queue.Queue()
        self._woken, self._wake = os.pipe()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self):
        with contextlib.suppress(OSError):
            while self._woken not in select.select([self._own, self._woken], [], [])[0]:
                if not (data := os.read(self._own, 4096)):
                    break
                self._came.put(data.decode(errors="replace"))
        self._came.put(None)

    def leave(self):
        """Close this end: only once nobody reads from it is a pipe broken, or a terminal gone."""
        os.write(self._wake, b"x")
        self._reader.join()
        for end in (self._own, self._woken, self._wake):
            os.close(end)

    def until(self, word):
        deadline = time.monotonic() + DEADLINE_S
        while word not in self.said:
            data = self._came.get(timeout=max(deadline - time.monotonic(), 0.1))
            assert data is not None, f"it ended without {word!r}: {self.said}"
            self.said += data

    def end(self):
        """Its exit status, once it has ended."""
        status = self.process.wait(DEADLINE_S)
        while (data := self._came.get(timeout=DEADLINE_S)) is not None:
            self.said += data
        return status

    def kill(self, number):
        self.process.send_signal(number)

    def insist(self, number):
        """Give a signal every five seconds until it has ended: a slow end is no refusal."""
        for _ in range(int(DEADLINE_S)):
            self.kill(number)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(5.0)
                return


def _heeds():
    """A shell lets its jobs in the background ignore Ctrl-C, and these tests may be one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _in_front():
    """The program's standard input is the terminal that controls it."""
    import fcntl
    import termios

    _heeds()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@pytest.fixture
def board():
    rig = played(None)
    with BoardProcess(rig, speed=4.0) as running:
        running.rig = rig
        yield running


def state_of(board):
    with SerialLink(board.url) as link:
        return Session(link, timeout_scale=6.0).greet().state


def is_whole(path):
    """Complete and marked, with all seconds that were asked for."""
    record = open_record(path)
    assert record.status == "complete"
    assert record.marks
    after = record.trace().force_n.size - record.release_index
    return after / record.sample_rate_hz >= 3.0


def piped_until(word, board, folder, *more):
    """`tautlog drop ... 2>&1`, whose reader leaves at a word; exit status of the drop."""
    program = Watched(command(board, folder / "drop.h5", *more), folder)
    program.until(word)
    program.leave()
    return program.process.wait(DEADLINE_S)


def test_a_pipe_that_breaks_after_the_release_ends_nothing(board, tmp_path):
    assert piped_until("released", board, tmp_path, "--record", "3", "--countdown", "0") == 0
    assert is_whole(tmp_path / "drop.h5")
    assert (tmp_path / "drop.png").exists()
    assert state_of(board) == "safe"
    assert "the display failed" in open_record(tmp_path / "drop.h5").status_text


@pytest.mark.wide
def test_a_pipe_that_breaks_before_the_release_calls_the_drop_off(board, tmp_path):
    assert piped_until("ARMED", board, tmp_path, "--countdown", "60") == 1
    assert board.rig.release_at is None
    assert open_record(tmp_path / "drop.h5").status == "aborted"
    assert state_of(board) == "safe"


@pytest.mark.wide
def test_a_pipe_that_breaks_before_arming(board, tmp_path):
    assert piped_until("board:", board, tmp_path, "--countdown", "60") == 1
    assert board.rig.release_at is None
    assert state_of(board) == "safe"


@pytest.mark.wide
def test_the_figures_still_go_to_their_file(board, tmp_path):
    """Standard error is a broken pipe, standard output a file."""
    with open(tmp_path / "said", "wb") as said:
        program = subprocess.Popen(
            command(board, "drop.h5", "--record", "3", "--countdown", "0"),
            cwd=tmp_path,
            stdout=said,
            stderr=subprocess.PIPE,
        )
        subprocess.run(["grep", "-m1", "released"], stdin=program.stderr, timeout=DEADLINE_S)
        program.stderr.close()
        assert program.wait(DEADLINE_S) == 0
    assert "record  drop.h5" in (tmp_path / "said").read_text()


def test_a_terminal_that_closes_after_the_release_ends_nothing(board, tmp_path):
    path = tmp_path / "drop.h5"
    program = Watched(
        command(board, path, "--record", "3", "--countdown", "0"), tmp_path, terminal=True
    )
    program.until("released")
    program.leave()
    assert program.process.wait(DEADLINE_S) == 0
    assert is_whole(path)
    assert state_of(board) == "safe"


@pytest.mark.wide
def test_a_terminal_that_closes_before_the_release_calls_the_drop_off(board, tmp_path):
    path = tmp_path / "drop.h5"
    program = Watched(command(board, path, "--countdown", "60"), tmp_path, terminal=True)
    program.until("ARMED")
    program.leave()
    assert program.process.wait(DEADLINE_S) == 1
    assert board.rig.release_at is None
    assert open_record(path).status == "aborted"
    assert state_of(board) == "safe"


SIGNALS = {signal.SIGINT: "Ctrl-C", signal.SIGTERM: "SIGTERM", signal.SIGHUP: "SIGHUP"}


@pytest.mark.parametrize("number", SIGNALS, ids=SIGNALS.get)
@pytest.mark.rows(1)
def test_a_signal_before_the_release_calls_the_drop_off(board, tmp_path, number):
    program = Watched(command(board, "drop.h5", "--countdown", "60"), tmp_path)
    program.until("ARMED")
    program.kill(number)
    assert program.end() == 1
    assert f"drop called off: {SIGNALS[number]}. The board is in state safe" in program.said
    assert "Traceback" not in program.said
    assert board.rig.release_at is None
    assert state_of(board) == "safe"


@pytest.mark.parametrize("number", SIGNALS, ids=SIGNALS.get)
@pytest.mark.rows(1)
def test_a_signal_before_arming(board, tmp_path, number):
    """While the phrase is asked for.

    The text is out some microseconds before Python reads the keyboard, and a signal between the
    two is seen at the next one only: it is given again, as a person would.
    """
    words = [one for one in command(board, "drop.h5") if one != "--yes"]
    program = Watched(words, tmp_path, terminal=True)
    program.until("to arm")
    program.insist(number)
    assert program.end() == 1
    assert "the board was not armed" in program.said
    assert "Traceback" not in program.said
    assert not (tmp_path / "drop.h5").exists()


@pytest.mark.parametrize(
    "numbers", [[signal.SIGTERM], [signal.SIGHUP] * 3, [signal.SIGHUP, signal.SIGTERM]]
)
@pytest.mark.rows(1)
def test_the_end_of_the_program_waits_for_the_end_of_the_recording(board, tmp_path, numbers):
    program = Watched(command(board, "drop.h5", "--record", "3", "--countdown", "0"), tmp_path)
    program.until("released")
    for number in numbers:
        program.kill(number)
    assert program.end() == 0
    assert "came while recording; the recording went on to its end" in program.said
    assert is_whole(tmp_path / "drop.h5")


@pytest.mark.parametrize("first", [signal.SIGINT, signal.SIGTERM], ids=SIGNALS.get)
@pytest.mark.rows(1)
def test_ending_early_and_leaving(tmp_path, first):
    """One Ctrl-C, or two SIGTERM, end it early; three signals leave it to the board."""
    with BoardProcess(played(None), speed=0.5) as board:
        program = Watched(command(board, "drop.h5", "--record", "50", "--countdown", "0"), tmp_path)
        program.until("released")
        program.kill(first)
        if first == signal.SIGINT:
            program.until("2 more Ctrl-C")
        else:
            program.until("recording, 1 of 50")
        program.kill(first)
        program.until("1 more Ctrl-C")
        program.kill(first)
        assert program.end() == 1
        assert "Traceback" not in program.said
        last = program.said.strip().splitlines()[-1]
        assert f"left by {SIGNALS[first]} while the board was in state recording" in last
        assert "tautlog recover" in last
        assert open_record(tmp_path / "drop.h5").status == "recording"
        recovered = subprocess.run(
            [*command(board, "")[:3], "recover", "--port", board.url, "--link-timeout", "3"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=DEADLINE_S,
        )
    assert recovered.returncode == 0, recovered.stderr
    record = open_record(tmp_path / "drop.h5")
    assert record.status == "recovered"
    after = record.trace().force_n.size - record.release_index
    assert after / record.sample_rate_hz >= 1.0


# What shows may fail at any moment, and in any way


@pytest.mark.parametrize("problem", [BrokenPipeError(32, "gone"), ValueError("closed"), SystemExit])
@pytest.mark.parametrize("moment", ["released", "received", "block"])
@pytest.mark.rows(3)
def test_a_crew_that_fails_after_the_release(tmp_path, moment, problem):
    rig = played(None)
    crew = SilentCrew()

    def fail():
        if "released" in crew.told:
            raise problem

    crew.actions[moment] = fail
    plan = plan_for(rig, tmp_path / "drop.h5", record_s=2.0, speed=4.0)
    with BoardProcess(rig, speed=4.0) as board:
        outcome = drop(board, plan, crew)
    assert not outcome.early
    assert any("the display failed" in one for one in outcome.notes)
    record = open_record(plan.path)
    after = record.trace().force_n.size - record.release_index
    assert after / record.sample_rate_hz >= plan.record_s
    assert crew.told.count(moment) <= 1 or moment == "block"


@pytest.mark.parametrize("moment", ["met", "found", "agree", "armed", "count", "block"])
@pytest.mark.rows(2)
def test_a_crew_that_fails_before_the_release(tmp_path, moment):
    def fail():
        raise BrokenPipeError(32, "gone")

    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5", countdown_s=60.0)
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(AbortedError, match=r"the display failed.*(release drive is low)"):
            drop(board, plan, SilentCrew(**{moment: fail}))
        assert state_of(board) == "safe"
    assert rig.release_at is None
