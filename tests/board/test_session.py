"""Greeting and asking over bad lines and with wrong devices."""

import itertools

import pytest
from fakes.link import HELLO, FrameLink

from tautlog.board.messages import HeldBlock
from tautlog.board.session import Session
from tautlog.drop.recovery import LEFT_ALONE_S, held_event
from tautlog.errors import (
    BoardConfigError,
    BusyError,
    FirmwareFailedError,
    LinkError,
    LinkTimeoutError,
    RefusedError,
    WireVersionError,
    WrongDeviceError,
)
from tautlog.firmware import wire


def session_on(link):
    return Session(link, clock=link.clock)


def test_greeting():
    link = FrameLink()
    board = session_on(link).greet()
    assert (board.serial, board.sample_rate_hz, board.samples_per_block) == ("f-1", 62500.0, 16)
    assert link.asked[0] == {"do": "hello", "wire": wire.VERSION}


@pytest.mark.parametrize("seed", range(5))
def test_greeting_on_a_bad_line(seed):
    """Lost and damaged answers are asked for again."""
    link = FrameLink(seed=seed, damage=0.2, drop=0.3, short=0.9)
    link.limit = 0
    assert session_on(link).greet().serial == "f-1"


def test_nobody_there():
    link = FrameLink()
    link.limit, link.send = 0, lambda kind, payload: None
    with pytest.raises(WrongDeviceError, match="nothing came back"):
        session_on(link).greet()


def refusing(state, times, then="safe"):
    """A board that is busy for so many greetings; when it was greeted."""
    link = FrameLink()
    link.limit, asked_s = 0, []
    obey = link._obey

    def answers(kind, payload):
        if kind == wire.ASK:
            asked_s.append(link.now_s)
            busy = {"ok": False, "error": "refused", "reasons": [11], "state": state}
            link.answers = {"hello": busy if len(asked_s) <= times else {**HELLO, "state": then}}
        obey(kind, payload)

    link._obey = answers
    return link, asked_s


@pytest.mark.parametrize("state", ["armed", "recording"])
def test_a_busy_board_says_what_it_does(state):
    link, _ = refusing(state, 1)
    with pytest.raises(BusyError, match=rf"the board is {state}: .*Stay out.*tautlog recover"):
        session_on(link).greet()


def test_a_board_that_records_is_left_alone_until_it_has_ended():
    """Every question would let it record on: between two of them it hears nothing."""
    link, asked_s = refusing("recording", 2)
    with pytest.raises(RefusedError, match="safe and holds no event"):
        held_event(session_on(link))
    assert len(asked_s) == 3
    assert min(b - a for a, b in itertools.pairwise(asked_s)) > LEFT_ALONE_S


@pytest.mark.parametrize(("state", "most"), [("recording", 6), ("armed", 1)])
def test_a_board_that_is_busy_on_and_on(state, most):
    link, asked_s = refusing(state, 99)
    with pytest.raises(BusyError, match=f"the board is {state}"):
        held_event(session_on(link))
    assert len(asked_s) == most


@pytest.mark.parametrize("noise", [b">>> ", b"\xd7\xa5" * 50, bytes(range(256)) * 20])
def test_something_else_is_there(noise):
    link = FrameLink()
    link.limit, link.answers = 0, {}
    read = link.read
    link.read = lambda: read() + noise
    with pytest.raises(WrongDeviceError, match="foreign bytes"):
        session_on(link).greet()


def test_other_version_in_the_greeting():
    link = FrameLink()
    link.answers = {"hello": {**HELLO, "wire": 9}}
    with pytest.raises(WireVersionError) as caught:
        session_on(link).greet()
    assert (caught.value.expected, caught.value.received) == (wire.VERSION, 9)


def test_other_version_in_the_frames():
    link = FrameLink()
    link.version = 200
    with pytest.raises(WireVersionError) as caught:
        session_on(link).greet()
    assert caught.value.received == 200


@pytest.mark.parametrize("name", [one for one in HELLO if one not in ("ok", "wire")])
def test_greeting_that_lacks_something(name):
    link = FrameLink()
    link.answers = {"hello": {key: value for key, value in HELLO.items() if key != name}}
    if name in ("silence_s", "before_s", "after_s"):
        assert session_on(link).greet().serial == "f-1"  # told, and not needed
        return
    with pytest.raises(WrongDeviceError, match="incomplete or garbled"):
        session_on(link).greet()


@pytest.mark.parametrize(
    "wrong",
    [
        *({"rate_hz": value} for value in (-1, 0, True, 1e9, "9")),
        *({"per_block": value} for value in (0, 0.5, True, 1 << 40, [1], None)),
        *({"reduction": value} for value in (0, 8.5, "8", 1 << 20)),
        *({"history": value} for value in (-1, 1e300, {})),
        *({"channels": value} for value in (3, "force", [], [3], [""], ["a" * 99], ["a"] * 99)),
        *({"state": value} for value in (None, 3, ["safe"], "asleep")),
    ],
    ids=str,
)
def test_greeting_that_makes_no_sense(wrong):
    link = FrameLink()
    link.answers = {"hello": {**HELLO, **wrong}}
    with pytest.raises(WrongDeviceError, match="incomplete or garbled"):
        session_on(link).greet()


def test_refusal_carries_every_reason():
    link = FrameLink()
    session = session_on(link)
    session.greet()
    link.answers["arm"] = {"ok": False, "error": "refused", "text": "", "reasons": [2, 3, 99]}
    with pytest.raises(RefusedError) as caught:
        session.ask("arm", by="drive")
    assert len(caught.value.reasons) == 3
    assert wire.REASONS[2][1] in str(caught.value)
    assert wire.REASONS[3][1] in str(caught.value)


def test_no_answer():
    link = FrameLink()
    session = session_on(link)
    session.greet()
    with pytest.raises(LinkTimeoutError, match="arm"):
        session.ask("arm", by="drive")


def test_timeouts_are_scaled():
    link = FrameLink()
    link.answers = {}
    link.limit = 0
    with pytest.raises(WrongDeviceError):
        Session(link, timeout_scale=3.0, clock=link.clock).greet()
    slow_s = link.now_s
    link.now_s = 0.0
    with pytest.raises(WrongDeviceError):
        Session(link, clock=link.clock).greet()
    assert slow_s == pytest.approx(3 * link.now_s, rel=0.1)


def test_blocks_behind_an_answer_are_not_lost():
    link = FrameLink(short=0.0)
    session = session_on(link)
    session.greet()
    link.answers["status"] = {"ok": True}
    session.ask("status")
    numbers = []
    for _ in range(20):
        numbers += [one.block.number for one in session.pump() if isinstance(one, HeldBlock)]
    assert numbers == list(range(len(numbers)))
    assert len(numbers) > 10


def test_a_cable_that_is_pulled():
    link = FrameLink()
    session = session_on(link)
    session.greet()
    session.pump()  # what had come before is still told
    link.gone = True
    with pytest.raises(LinkError):
        session.pump()


def test_no_command_holds_a_ctrl_c():
    """Byte 3 would interrupt a board that is still starting."""
    link = FrameLink()
    link.limit, link.answers = 0, {}
    written = []
    link.write = written.append
    session = session_on(link)
    for number in range(400):
        session.send(wire.ASK, b'{"do":"hello","wire":%d}' % number)
    assert not any(b"\x03" in frame for frame in written)
    assert len(written) == 400


class PromptLink:
    """A board at MicroPython's prompt: it echoes, and answers at the raw prompt.

    Parameters
    ----------
    words : str
        What the import of the firmware's entry prints.
    """

    def __init__(self, words):
        self.words = words
        self.now_s = 0.0
        self.said = b""

    def read(self):
        self.now_s += 0.01
        said, self.said = self.said, b""
        return said

    def write(self, data):
        if data.endswith(b"\x01"):
            self.said += b"\r\n>>> \r\nraw REPL; CTRL-B to exit\r\n>"
        elif data.endswith(b"\x04"):
            assert b"import main" in data
            self.said += b"OK" + self.words.encode() + b"\x04\x04>"
        else:
            self.said += data + b"\r\nSyntaxError: invalid syntax\r\n>>> "

    def close(self):
        pass


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            'Traceback (most recent call last):\r\n  File "<stdin>", line 4\r\n'
            "MemoryError: memory allocation failed, allocating 381490 bytes\r\n",
            "does not start: MemoryError: memory allocation failed, allocating 381490 bytes",
        ),
        ("Traceback:\r\nImportError: no module named 'main'\r\n", "no firmware is on it"),
        ("-\r\n", "its firmware did not fall over: see that the strap is open"),
    ],
)
def test_a_board_at_its_prompt_says_why(words, said):
    link = PromptLink(words)
    with pytest.raises(FirmwareFailedError, match=said):
        Session(link, clock=lambda: link.now_s).greet()
    assert link.now_s < 3.0


@pytest.mark.parametrize(
    ("reason", "error", "said"),
    [
        (wire.WRONG_CONFIG, BoardConfigError, r"config\.py is wrong.*MemoryError"),
        (wire.UNFIT, WrongDeviceError, "does not run on this board: MemoryError"),
        (wire.NOT_STARTED, FirmwareFailedError, "did not start: MemoryError"),
    ],
)
def test_a_board_whose_firmware_does_not_run(reason, error, said):
    link = FrameLink()
    link.answers = {"hello": {**HELLO, "refused": reason, "faults": ["MemoryError: 1 kB"]}}
    with pytest.raises(error, match=said):
        session_on(link).greet()


def test_late_answers_to_an_earlier_program_are_not_taken_for_its_own():
    """Seen on an emulated board: `stream` was answered with a greeting that `install` had asked."""

    class Slow(FrameLink):
        """A line that brings a few bytes at a time."""

        def read(self):
            waiting = super().read() + bytes(self.outgoing)
            self.outgoing = bytearray(waiting[100:])
            return waiting[:100]

    link = Slow()
    link.answers["stream"] = {"ok": True, "first": 7}
    link.limit = 0
    earlier = session_on(link)
    for _ in range(40):
        earlier.send(wire.ASK, b'{"do": "hello", "wire": 1}')  # and it ends without an answer
    link.now_s += 0.5
    later = session_on(link)
    later.greet()
    assert later.ask("stream", on=True)["first"] == 7
