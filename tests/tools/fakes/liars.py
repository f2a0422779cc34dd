"""A board that does whole drops and lies in one way; and every way to meet it.

Time is the board's own clock, so that a wait of a minute costs nothing: what waits longer than
`MOST_S` of it hangs, and so does what computes longer than `MOST_WALL_S` without reading.
"""

import contextlib
import io
import json
import signal
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from unittest import mock

import h5py
import numpy as np

from fakes import at_desk
from fakes.crew import SilentCrew
from fakes.drops import CALIBRATION, KNOWN, PER_BLOCK, DropBoard, Lies, plan_at, session_with
from tautlog.archive.assess import assess
from tautlog.board.link import FoundPort
from tautlog.board.session import Session
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.drop.recovery import already_in, held_event, recover
from tautlog.drop.run import run_drop
from tautlog.errors import TautlogError
from tautlog.firmware import wire
from tautlog.model.commissioning import COIL_PHRASE
from tautlog.record import open_record

MOST_S = 60.0  # of the board's clock beyond what an honest one takes
MOST_WALL_S = 30.0
PINS = [10, 11, 12, 13, 14, 15, 16, 17, 18, -1, -1, -1, 26]
SHUNT_V = 0.5


class Hang(BaseException):
    """No end came; nothing in the program may catch it."""


@dataclass(frozen=True)
class Lie:
    """One way to lie.

    Attributes
    ----------
    answers : dict of str to callable
        By command: the answer's fields in, other fields (or bytes, or None for silence) out.
    frames : dict of int to callable
        By kind of frame: board and payload in, payloads out.
    every : callable or None
        Called at every read, with the board; may send frames.
    may_pass : bool
        The command may end well: the lie does no harm, or is told of in the record.
    """

    answers: dict = field(default_factory=dict)
    frames: dict = field(default_factory=dict)
    every: Callable | None = None
    may_pass: bool = False


class Liar(DropBoard):
    """Lies as it is told, and remembers the truth.

    Attributes
    ----------
    forgot : tuple of int or None
        First block and the one after the last of the event that it discarded.
    """

    def __init__(self, lie=Lie(), **options):
        super().__init__(**options)
        self.lie, self.forgot, self.shunt, self.load_n = lie, None, False, 0.0
        self.most_s = MOST_S
        self.notes = {}  # for lies that remember

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def read(self):
        if self.now_s > self.most_s:
            raise Hang(f"{self.now_s:.0f} s of the board's clock")
        if self.lie.every is not None:
            self.lie.every(self)
        return super().read()

    def raw(self, kind, payload):
        """Send a frame as it is."""
        super()._send(kind, payload)

    def _send(self, kind, payload):
        if kind == wire.ANSWER:
            payload = self._answered(json.loads(payload))
            payloads = [] if payload is None else [payload]
        else:
            tell = self.lie.frames.get(kind)
            payloads = [payload] if tell is None else tell(self, payload)
        for one in payloads:
            self.raw(kind, one)

    def _answered(self, answer):
        name = self.heard[-1]
        if name == "status":
            answer |= {"inputs": 15, "outputs": 0, "free_bytes": 20000}
        if name == "hello":
            answer |= {"pins": PINS, "flash_ms": 50}
        if name in self.lie.answers:
            answer = self.lie.answers[name](dict(answer))
        if answer is None or isinstance(answer, bytes):
            return answer
        return json.dumps(answer).encode()

    def _answer(self, command):
        if command["do"] == "discard" and self.last is not None:
            self.forgot = (self._first(), self.last)
        if command["do"] == "shunt":
            self.shunt = command["on"]
        super()._answer(command)

    def _samples(self, number):
        samples = super()._samples(number)
        more_v = (SHUNT_V if self.shunt else 0.0) + self.load_n / 1000.0
        more = round(more_v / CALIBRATION.volt_per_count(8))
        return (samples + np.uint16(more)).astype("<u2")


# Ways to meet it; each returns what it says


def _drop(board, folder, **changes):
    crew = SilentCrew()
    session = session_with(board)
    outcome = run_drop(session, plan_at(folder / "drop.h5", **changes), crew)
    return " ".join(outcome.notes)


def _by_hand(board, folder):
    board.lies = Lies(lets_go_after_s=1.0)
    return _drop(board, folder, by_hand=True)


def held(board):
    """Let an honest board do a drop by itself, and hold it."""
    lie, board.lie = board.lie, Lie()
    board.heard.append("arm")
    board._answer({"do": "arm", "by": "hand"})
    for _ in range(60):
        DropBoard.read(board)
    board.open()
    board.reason = wire.WINDOW_COMPLETE
    for _ in range(200):
        DropBoard.read(board)
    assert board.state == wire.HELD
    board.heard.clear()
    board._outgoing.clear()
    board.streaming, board.lie = False, lie
    board.most_s = board.now_s + MOST_S


def _recover(board, folder):
    held(board)
    session = session_with(board)
    event = held_event(session)
    known, _ = already_in(session, event, folder)
    if known is None:
        outcome = recover(session, folder / "again.h5", KNOWN, event)
        return " ".join(outcome.notes)
    return ""


def _command(*arguments, typed=""):
    def way(board, folder):
        # What a command says goes where a person would read it.
        out, err = io.StringIO(), io.StringIO()
        before = sys.stdin
        sys.stdin = io.StringIO(typed)
        told = [str(folder / one) if one.endswith(".h5") else one for one in arguments]
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                status = run(told)
        finally:
            sys.stdin = before
        said = out.getvalue() + err.getvalue()
        if status:
            raise CommandFailed(said)
        return said

    return way


class CommandFailed(Exception):
    """Exit status 1, with what was said."""


def _boards(board, folder):
    """`boards --ask`, where one port is likely a board's."""
    found = FoundPort(device="liar", description="a board", serial="1", likely=True)
    with mock.patch("tautlog.board.link.find_ports", return_value=[found]):
        said = _command("boards", "--ask")(board, folder)
    if "no tautlog firmware" in said or "cannot be used" in said:
        raise CommandFailed(said)
    return said


DROP = ("--mass", "9", "--height", "1.2", "--target", "1800")
WAYS = at_desk.WAYS | {
    "boards": _boards,
    "desk held": lambda board, folder: (held(board), at_desk.dropping(board, folder))[1],
    "drop": _drop,
    "hand": _by_hand,
    "waiting": lambda board, folder: _drop(board, folder, by_hand=True),
    "recover": _recover,
    "health": _command("health", "--port", "liar"),
    "calibrate": _command(
        *("calibrate", "--port", "liar", "--load", "0", "--load", "20", "--load", "40"),
        typed="\n" * 9,
    ),
    "shunt": _command("calibrate", "--port", "liar", "--shunt", "100000"),
    "hang": _command("calibrate", "--port", "liar", "--hang", "--mass", "9", typed="\n" * 9),
    "check": _command("check", "--port", "liar", *DROP, "--by", "A. Rigger", "--with", "B. Second"),
    "bring-up": _command(
        *("health", "--port", "liar", "--bring-up", "--by", "A. Rigger", "--step", "key-off"),
        typed=f"{COIL_PHRASE}\n" + "\n" * 9,
    ),
    "drop command": _command(
        "drop", "--port", "liar", *DROP, "--yes", "--countdown", "0.5", "--record", "2"
    ),
}
IN_CAMPAIGN = ("check", "bring-up", "desk held", *at_desk.WAYS)


@dataclass
class Met:
    """What came of it.

    Attributes
    ----------
    said : str
        What was said.
    failed, traced, hung : bool
        It ended with an error of ours; with a traceback; not at all.
    told : bool
        It ended well with a record, and a note or a verdict told of the lie.
    wrong : list of str
        What must never be.
    """

    said: str = ""
    failed: bool = False
    traced: bool = False
    hung: bool = False
    told: bool = False
    wrong: list = field(default_factory=list)


def meet(lie, way, folder, monkeypatch):
    """Meet a board that lies, and judge what came of it."""
    board = Liar(lie)
    monkeypatch.setattr("tautlog.board.link.SerialLink", lambda url: board)
    monkeypatch.setattr("tautlog.drop.checking.SerialLink", lambda url: board)
    monkeypatch.setattr("tautlog.drop.conducting.SerialLink", lambda url: board)
    for place in at_desk.PORTS:
        monkeypatch.setattr(place, lambda url: board)
    monkeypatch.setitem(Session.__init__.__kwdefaults__, "clock", board.clock)
    monkeypatch.chdir(folder)
    met = Met()
    before = signal.signal(signal.SIGALRM, _hangs)
    signal.setitimer(signal.ITIMER_REAL, MOST_WALL_S)
    try:
        met.said = WAYS[way](board, folder) or ""
    except (TautlogError, CommandFailed) as problem:
        met.said, met.failed = str(problem), True
    except Hang as problem:
        met.said, met.hung = str(problem), True
    except Exception:
        met.said, met.traced = traceback.format_exc(), True
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    _judge(board, met, folder)
    if not (met.failed or met.hung or met.traced or met.told or lie.may_pass):
        met.wrong.append("it ended well")
    return met


def _hangs(number, frame):
    raise Hang(f"{MOST_WALL_S:g} s on the wall: {''.join(traceback.format_stack(frame)[-3:])}")


def _judge(board, met, folder):
    wrong = met.wrong
    foreign = [sign for sign in met.said if not (sign.isprintable() or sign in "\n\t")]
    if foreign and not met.traced:
        wrong.append(f"said {foreign[:3]!r}")
    if len(met.said) > 4000 and not met.traced:
        wrong.append(f"said {len(met.said)} signs")
    if "arm" in board.heard and board.release is None and "ABORT" not in board.heard:
        wrong.append("no ABORT")
    met.told = bool(met.said) and bool(list(folder.glob("*.h5")))
    whole = False
    for path in sorted(folder.glob("*.h5")):
        record = open_record(path)
        numbers = record.block_table["block"].astype(np.int64)
        gaps = numbers.size == 0 or int(numbers[-1] - numbers[0]) + 1 != numbers.size
        if record.status in ("complete", "recovered"):
            verdict = assess(record).verdict
            texts = [reason.text for reason in verdict.reasons]
            if verdict.record_verdict != "valid":
                met.told = True
            elif gaps and not any("missing" in text for text in texts):
                wrong.append(f"{path.name} is valid and lacks blocks: {texts}")
            elif not _true(board, record):
                wrong.append(f"{path.name} is valid and its samples are not those of the board")
            if board.forgot and not gaps and numbers.size:
                first, end = board.forgot
                whole = whole or (numbers[0] <= first + 4 and numbers[-1] + 1 >= end)
    if board.forgot and not whole:
        wrong.append(f"the board discarded {board.forgot}, and no whole record is there")


def _true(board, record):
    with h5py.File(record.path) as file:
        counts = file["trace/counts"][:, 0]
    return all(
        np.array_equal(counts[at * PER_BLOCK : (at + 1) * PER_BLOCK], board._samples(int(number)))
        for at, number in list(enumerate(record.block_table["block"]))[::7]
    )


def campaign_at(folder):
    """A campaign in a folder."""
    with contextlib.redirect_stdout(io.StringIO()):
        assert run(["init", str(folder)]) == 0
    return read_campaign(folder, to_drop=False)
