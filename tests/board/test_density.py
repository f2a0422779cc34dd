"""The laptop's side of the code-density test, against a board made of answers."""

import base64
import contextlib
import hashlib
import json
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.board import density, prompt
from tautlog.board.compiled import firmware_files
from tautlog.board.density import CODES, HELD_CODES, DensityPlan, Wiring, codes_in
from tautlog.errors import BoardError, LinkError, RefusedError
from tautlog.model.stream import Instrument

FACTS = {
    "machine": "Raspberry Pi Pico with RP2040",
    "serial": "e66118604b3a2c2f",
    "chip": "RP2040",
    "rate_hz": 500_000,
    "slower": 16,
    "regulator": True,
}

WIRING = Wiring()


def told(counts, **wrong):
    """A histogram as the board tells it."""
    came = np.flatnonzero(counts)
    data = counts[came[0] : came[-1] + 1].astype("<u4").tobytes()
    crc = f"{zlib.crc32(data):08x}"
    facts = {"errors": 0, "first": int(came[0]), "bytes": len(data), "crc": crc} | wrong
    lines = [base64.b64encode(data[at : at + 768]).decode() for at in range(0, len(data), 768)]
    return "\r\n".join([json.dumps(facts), *lines])


def counts_at(level):
    counts = np.zeros(CODES, np.int64)
    counts[level - 1 : level + 2] = (10, 80, 10)
    return counts


class Board:
    """A prompt whose converter follows the pin, unless it is `open`."""

    def __init__(self, facts=FACTS, files=None, open=False):
        self.facts = facts
        self.files = files or firmware_files("armv6m")
        self.open = open
        self.ran = []
        self.restarts = 0

    def identify(self):
        return "1.28", self.facts.get("machine", ""), "armv6m"

    def hashes(self, names):
        return {
            name: hashlib.sha256(self.files[name]).hexdigest() if name in self.files else ""
            for name in names
        }

    def run(self, code, more_s=0.0):
        self.ran.append(code)
        if "density.begin" in code:
            return json.dumps(self.facts)
        if code.startswith("test.held("):
            duty = int(code.split("(")[1].split(",")[0])
            return told(counts_at(2000 if self.open else duty * CODES // 65536))
        if code.startswith("test.ramp("):
            return told(np.full(CODES, 40))
        return ""

    def restart(self):
        self.restarts += 1


@pytest.fixture
def at(monkeypatch):
    """Count codes on a board, with what was said."""

    def go(board, wiring=WIRING, firmware_answers=True):
        @contextlib.contextmanager
        def at_prompt(*_):
            yield board

        def greeted(port, scale):
            if not firmware_answers:
                raise LinkError("nothing answers")

        monkeypatch.setattr(density, "at_prompt", at_prompt)
        monkeypatch.setattr(density, "greeted", greeted)
        said = []
        return density.count_codes(
            "port", DensityPlan(wiring, ramps=4, ramp_s=1.0), say=said.append
        ), said

    return go


def test_levels_then_ramps_then_the_firmware_again(at):
    board = Board()
    counts, said = at(board)
    assert counts.ramps.shape == (4, CODES)
    assert counts.rising == (True, False, True, False)
    assert counts.serial == FACTS["serial"]
    # In use, slowly, and with the regulator forced.
    ways = [(one.forced, one.slow) for one in counts.held]
    assert ways == [(False, False)] * 5 + [(False, True)] * 5 + [(True, False)] * 5
    assert [one.level for one in counts.held[:5]] == list(HELD_CODES)
    assert board.ran[-1] == "test.end()"
    assert board.restarts == 1
    assert not any("LOOK" in text for text in said)


def test_a_board_without_a_regulator_pin(at):
    board = Board({**FACTS, "regulator": False, "slower": 1, "machine": "Raspberry Pi Pico W"})
    counts, _ = at(board)
    assert [(one.forced, one.slow) for one in counts.held] == [(None, False)] * 5


def test_pins_go_to_the_board_that_refuses_them(at):
    board = Board({"refused": "GP12 is PIN_DRIVE in config.py: choose a spare pin"})
    with pytest.raises(RefusedError, match="gives no ramp: GP12 is PIN_DRIVE"):
        at(board, Wiring(12, 28))
    assert "density.begin(12, 28)" in board.ran[0]
    assert board.restarts == 1


def test_nothing_connected_is_told_before_the_ramps(at):
    board = Board(open=True)
    with pytest.raises(BoardError, match="does not follow the ramp's pin"):
        at(board)
    assert not any("ramp(" in code for code in board.ran)
    assert board.restarts == 1


@pytest.mark.parametrize("name", ["hardware/density.mpy", "config_check.mpy"])
def test_another_firmware_is_not_tested(at, name):
    files = dict(firmware_files("armv6m"))
    files[name] = b"another"
    with pytest.raises(BoardError, match=r"another firmware .*tautlog install"):
        at(Board(files=files))
    del files[name]
    board = Board(files=files)
    with pytest.raises(BoardError, match="without this test"):
        at(board)
    assert board.ran == []
    assert board.restarts == 1


def test_a_firmware_that_does_not_come_back_is_told(at):
    _, said = at(Board(), firmware_answers=False)
    assert said[-1].startswith("LOOK: after its restart the firmware does not answer")


def test_a_histogram_arrives_as_it_was_sent():
    rng = np.random.default_rng(3)
    sent = rng.integers(0, 1 << 31, CODES)
    counts, errors = codes_in(told(sent, errors=7))
    np.testing.assert_array_equal(counts, sent)
    assert errors == 7


@pytest.mark.parametrize(
    ("said", "error"),
    [
        (told(counts_at(9), crc="00000000"), "arrived damaged"),
        (told(counts_at(9), bytes=16), "arrived damaged"),
        (told(counts_at(9), first=4095), "makes no sense"),
        (told(counts_at(9), first=-1), "makes no sense"),
        (told(counts_at(9), crc="g"), "makes no sense"),
        (told(counts_at(9)) + "\r\n!", "makes no sense"),
        ("", "makes no sense"),
        ("[]", "makes no sense"),
        ("{}", "makes no sense"),
    ],
)
def test_what_arrives_damaged_is_one_clear_error(said, error):
    with pytest.raises(BoardError, match=error):
        codes_in(said)


@given(st.text(max_size=200), st.integers(-5, 5000), st.integers(0, 40), st.binary(max_size=40))
def test_no_answer_is_more_than_an_error(text, first, length, data):
    crc = f"{zlib.crc32(data):08x}"
    facts = json.dumps({"errors": 0, "first": first, "bytes": length, "crc": crc})
    sent = f"{facts}\n{base64.b64encode(data).decode()}"
    for said in (text, f"{facts}\n{text}", sent):
        try:
            counts, _ = codes_in(said)
        except BoardError:
            continue
        assert counts.shape == (CODES,)
        assert counts.min() >= 0


@pytest.mark.parametrize("state", ["armed", "recording", "held"])
def test_a_board_at_work_is_not_stopped(monkeypatch, state):
    """Its state is asked before its firmware is."""
    asked = []

    class Session:
        def __init__(self, link, timeout_scale):
            pass

        def greet(self):
            return Instrument("0", "board", "1", 1.0, 1, ("force",), 1, 8, state=state)

        def ask(self, name):
            asked.append(name)

    class Link:
        def __init__(self, port):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

    monkeypatch.setattr(prompt, "Session", Session)
    monkeypatch.setattr(prompt, "SerialLink", Link)
    with pytest.raises(RefusedError, match=r"then test$"):
        prompt._leave_firmware("port", 1.0, "test")
    assert asked == []


MOVES = "\x1b[2J\x9b2J\u202e"
FALSE_FACTS = [
    *(
        {name: wrong}
        for name in ("chip", "machine", "serial")
        for wrong in ("", " ", MOVES, "x" * 900)
    ),
    *({name: wrong} for name in ("chip", "machine", "serial") for wrong in (None, 7, [MOVES], {})),
    *({"rate_hz": wrong} for wrong in (0, -1, True, "500000", None, [5e5], 1e300, 10**299, 1e-300)),
]


@pytest.mark.parametrize("false", FALSE_FACTS, ids=lambda false: ascii(false)[:40])
def test_a_board_that_lies_about_itself_is_not_counted(at, false):
    """Found by a table of lies: a list became a serial number, and the table was kept for it."""
    board = Board({**FACTS, **false})
    with pytest.raises(BoardError, match="makes no sense") as caught:
        at(board)
    assert str(caught.value).isprintable()
    assert len(board.ran) == 1  # before minutes of ramps
    assert board.restarts == 1


@pytest.mark.parametrize(
    "slower", [True, 1.5, "16", -4, 10**299, [16], None], ids=lambda one: repr(one)[:9]
)
def test_how_much_slower_is_believed_within_bounds(at, slower):
    counts, _ = at(Board({**FACTS, "slower": slower}))
    assert not any(one.slow for one in counts.held)


@pytest.mark.parametrize("name", ["first", "bytes", "errors"])
@pytest.mark.parametrize(
    "wrong", [None, True, 1.5, "12", -1, 1e30, 10**299, [4], {}], ids=lambda one: repr(one)[:9]
)
def test_a_lie_in_a_histogram(name, wrong):
    with pytest.raises(BoardError):
        codes_in(told(counts_at(9), **{name: wrong}))
