"""A board at MicroPython's prompt that lies to the installer: an error of ours, in bounded time."""

import contextlib
import os
import threading
import time
import types

import pytest
from fakes.prompt import BANNER, RawPrompt

from tautlog.board import prompt
from tautlog.board.density import codes_in
from tautlog.board.installer import check_config, install
from tautlog.board.prompt import ASK_WHO, BoundedPort, Prompt
from tautlog.errors import BoardError, LinkError, TautlogError

MOVES = "\x1b[2J\x9b2J\x07"
WHOS = {
    "a number": "5",
    "no tuple": "[1, 2, 3]",
    "two of three": "((1, 28), 'RP2040')",
    "version is a number": "(1, 'Raspberry Pi Pico with RP2040', 4870)",
    "version is empty": "((), 'Raspberry Pi Pico with RP2040', 4870)",
    "version is text": "(('1', '28'), 'Raspberry Pi Pico with RP2040', 4870)",
    "version is 1.28": "((1.28, 1), 'Raspberry Pi Pico with RP2040', 4870)",
    "version has a million parts": f"({(1,) * 5000}, 'RP2040', 4870)",
    "machine is a number": "((1, 28), 7, 4870)",
    "machine moves": f"((1, 28), 'RP2040 {MOVES}', 1)",
    "machine has 9000 signs": f"((1, 28), '{'x' * 9000}', 4870)",
    "kind is a text": "((1, 28), 'Raspberry Pi Pico with RP2040', '4870')",
    "kind is true": "((1, 28), 'Raspberry Pi Pico with RP2040', True)",
    "kind is negative": "((1, 28), 'Raspberry Pi Pico with RP2040', -1)",
    "kind is of 300 digits": f"((1, 28), 'Raspberry Pi Pico with RP2040', 1{'0' * 300})",
    "deep": "(" * 5000 + ")" * 5000,
    "deep lists": "[" * 50_000,
    "no Python": "((1, 28",
    "nothing": "",
    "a zero byte": "'\x00'",
}


def saying(text, error=b""):
    """A prompt that says always the same."""
    told = lambda code, timeout=10: (text.encode(), error)  # noqa: E731
    return Prompt(types.SimpleNamespace(exec_raw=told), 1.0)


@pytest.mark.parametrize("who", WHOS.values(), ids=WHOS)
def test_who_it_is(who):
    with pytest.raises(BoardError) as caught:
        saying(who).identify()
    assert len(str(caught.value)) < 700


@pytest.mark.parametrize(
    "config",
    ["5", "[]", "b'x'", "'x = ('", "'\\x00'", "'" + "(" * 9000 + "'", "'x'", "{}", "(" * 9000],
)
def test_a_config_that_is_none(config):
    with pytest.raises(BoardError):
        check_config(saying(config), b"PIN_KEY = 11\n")


def test_an_error_that_is_long():
    with pytest.raises(BoardError) as caught:
        saying("", f"OSError: {MOVES}{'x' * 9000}".encode()).run(ASK_WHO)
    assert len(str(caught.value)) < 700
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    "said",
    [
        "",
        "5",
        '{"first": 1e300, "bytes": 4, "crc": "0", "errors": 0}\nAAAA',
        '{"first": true, "bytes": [], "crc": 0, "errors": 0}\nAAAA',
        '{"first": -4, "bytes": 3, "crc": "41d912ff", "errors": 0}\nAAAA',
        '{"first": 0, "bytes": 3, "crc": "zz", "errors": 0}\nAAAA',
        '{"first": 0, "bytes": 3, "crc": "0", "errors": 0}\n\u00e9\x1b',
        "[" * 9000,
    ],
)
def test_a_histogram_that_is_none(said):
    with pytest.raises(BoardError) as caught:
        codes_in(said)
    assert str(caught.value).isprintable()


class Flood(RawPrompt):
    """Sends without an end, from its banner on."""

    def __init__(self, bytes_sent, pause_s):
        self._bytes, self._pause_s, self._ended = bytes_sent, pause_s, False
        super().__init__()

    def _live(self):
        os.read(self._own, 1)
        with contextlib.suppress(OSError):  # closed
            os.write(self._own, BANNER)
            while not self._ended:
                os.write(self._own, self._bytes)
                time.sleep(self._pause_s)

    def close(self):
        self._ended = True
        super().close()


@pytest.mark.parametrize(
    ("sent", "pause_s"),
    [(b"x" * 500, 0.0), (BANNER, 0.0), (b">>> ", 0.02), (b"x", 0.02), (b"\x04", 0.02)],
    ids=["a flood", "banners", "prompts", "a trickle", "ends"],
)
def test_a_prompt_without_an_end(monkeypatch, sent, pause_s):
    monkeypatch.setattr(prompt, "RESTART_S", 1.0)
    board = Flood(sent, pause_s)
    began_s = time.monotonic()
    try:
        with pytest.raises(TautlogError):
            install(board.port, timeout_scale=0.1)
    finally:
        board.close()
    assert time.monotonic() - began_s < 60.0
    assert threading.active_count() < 50


def test_a_port_counts_what_it_gives():
    endless = types.SimpleNamespace(read=lambda size: b"x" * size, rts=True)
    port = BoundedPort(endless, "/dev/board")
    port.rts = False
    assert endless.rts is False
    assert port.read(prompt.MOST_SAID_BYTES)
    with pytest.raises(LinkError, match=r"/dev/board sends without an end"):
        port.read(1)
    port.allow(1.0)
    assert port.read(3) == b"xxx"
    port.allow(-1.0)
    with pytest.raises(LinkError):
        port.read(1)
