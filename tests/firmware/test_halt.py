"""A firmware that must not run, or does not start: who says so, and in which words."""

import importlib
import sys
import types

import pytest

import config
import wire


class Bare:
    """Stands for bare.py, whose pins and registers no laptop has."""

    regulator = ""

    def name(self):
        return "Raspberry Pi Pico W with RP2040, MicroPython 1.28.0"

    def serial(self):
        return "b-1"


@pytest.fixture
def entry(monkeypatch):
    """The firmware's entry on a board that falls over in its converter; and what it released."""
    pins = []

    class Board:
        def __init__(self, config):
            raise MemoryError("memory allocation failed, allocating 381490 bytes")

    bare = types.SimpleNamespace(IS_UNFIT=False, Bare=Bare, release_pins=pins.append)
    for name, module in (("bare", bare), ("board", types.SimpleNamespace(Board=Board))):
        monkeypatch.setitem(sys.modules, name, module)
    for name in ("main", "halt"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    module = importlib.import_module("main")
    yield module, pins
    for name in ("main", "halt"):
        sys.modules.pop(name, None)


def test_a_firmware_that_falls_over_says_its_last_line(entry):
    firmware_main, released = entry
    _, runner = firmware_main.build(config, [])
    said = runner.answer(b'{"do":"hello","wire":1}')
    assert said["refused"] == wire.NOT_STARTED
    assert said["faults"][0] == "MemoryError: memory allocation failed, allocating 381490 bytes"
    assert released == [config]
    assert "board" not in sys.modules
    refused = runner.answer(b'{"do":"arm","by":"drive"}')
    assert refused["reasons"] == [wire.NOT_STARTED]
    assert "MemoryError" in refused["text"]


def test_a_board_with_a_radio_is_refused(entry, monkeypatch):
    firmware_main, released = entry
    monkeypatch.setattr(firmware_main.bare, "IS_UNFIT", True)
    _, runner = firmware_main.build(config, [])
    said = runner.answer(b'{"do":"hello","wire":1}')
    assert said["refused"] == wire.UNFIT
    assert "Pico W" in said["faults"][0]
    assert released == []
