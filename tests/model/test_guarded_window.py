"""The guarded window: closed forms, and the firmware's own numbers."""

import importlib
import sys
from dataclasses import replace

import pytest
from places import FIRMWARE

from tautlog.model.stream import Instrument
from tautlog.model.window import TABLE_BYTES, Sampling, fall_time_s, guarded_window

BOARD = Instrument("0.1.0", "RP2040", "1", 62_500.0, 8, ("force",), 1024, 68)


def test_the_window_is_what_the_blocks_hold():
    """68 blocks of 16.384 ms, three to spare, three before the release: 62 after it."""
    window = guarded_window(replace(BOARD, guard_before_s=0.05))
    assert window.after_s == pytest.approx((68 - 3 - 3) * 1024 / 62_500)
    told = guarded_window(replace(BOARD, guard_before_s=0.05, guard_after_s=1.0))
    assert told.after_s == 1.0  # the board's word, where it is less


@pytest.mark.parametrize("channels", [1, 2, 3])
def test_more_channels_cost_rate_and_not_time(channels):
    """All channels together bring the same bytes a second, so that the window stays."""
    sampling = Sampling(channels=channels)
    assert sampling.sample_rate_hz == 62_500.0 / channels
    assert sampling.samples_per_block * channels <= 2048
    assert guarded_window(sampling.board()).after_s == pytest.approx(1.03, abs=0.07)


def test_a_window_that_is_too_short_for_the_drop_is_said():
    window = guarded_window(BOARD)
    holds, text = window.check(fall_time_s(1.2), 0.06)
    assert holds
    assert "0.55 s" in text
    holds, text = window.check(fall_time_s(9.0), 0.06)
    assert not holds
    assert "1.41 s" in text
    assert "fewer channels" in text
    assert window.check(None)[0] is False


def test_the_numbers_are_those_of_the_firmware(monkeypatch):
    monkeypatch.syspath_prepend(str(FIRMWARE))
    for name in ("wire", "keepsake"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    assert importlib.import_module("keepsake").LINE_BYTES == TABLE_BYTES
