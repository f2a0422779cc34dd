"""The code-density test on the emulated RP2040: GP9 through R and C to a converter as published.

The converter's steps are those of model/published_steps, measured by others on five boards;
its noise is what another measurement found. The emulator's resistor and capacitor have no ripple.
"""

import json
import math
import subprocess
import sys

import numpy as np
import pytest

from emulated.bench import march_of
from tautlog.campaign.converters import kept_converters, newest_converter
from tautlog.model.linearity import published_linearity

pytestmark = pytest.mark.timeout(6000)
OUTPUT_PINS = (12, 13, 14, 17, 18)
SHORT = ("--ramps", "4", "--ramp-s", "0.7", "--settle-s", "0.02")


def tautlog(folder, *words):
    command = [sys.executable, "-m", "tautlog", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=5000, cwd=folder)


def converter(board, folder, *more):
    return tautlog(folder, "converter", "--port", board.port, "--link-timeout", "100", *more)


@pytest.mark.long
def test_the_published_steps_are_found_and_kept(emulated, image, tmp_path):
    """Through the pseudo-terminal: out of the firmware, four ramps, back into it (15 min)."""
    if march_of(image) != "armv6m":
        pytest.skip("the model of R and C is one of the emulated RP2040")
    (tmp_path / "campaign.toml").write_text("")
    board = emulated("ramp-of-pin")
    done = converter(board, tmp_path, *SHORT, "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["doubts"] == []
    assert told["wide_codes"] == [511, 1535, 2559, 3583]
    true = published_linearity("RP2040")
    assert abs(told["noise_saving_steps"] - true.noise_steps) < 0.03
    found = newest_converter(tmp_path, told["serial"])
    codes = np.arange(64, 4031)
    error = found.error_at(codes) - true.error_at(codes)
    error -= np.polyval(np.polyfit(codes, error, 1), codes)  # offset and gain are no table's
    # k = 2 holds 95.45 % of levels. As many are independent as the table has knots, some fifty:
    # less three standard deviations of a share of fifty.
    share = 0.9545 - 3.0 * math.sqrt(0.9545 * 0.0455 / 50.0)
    assert np.mean(np.abs(error) <= 2.0 * found.u_steps) > share
    assert abs(error).max() < 1.0
    assert found.u_steps < 0.3
    assert len(kept_converters(tmp_path)) == 1
    # Nothing was let go, and the firmware runs again.
    assert not any(level for pin in OUTPUT_PINS for _, level in board.changes(pin))
    again = tautlog("/", "health", "--port", board.port, "--link-timeout", "200", "--json")
    assert '"firmware"' in again.stdout, again.stderr


@pytest.mark.parametrize(
    ("pins", "said"),
    [
        (("--ramp-pin", "12"), "GP12 is PIN_DRIVE"),
        pytest.param(("--channel-pin", "26"), "GP26 is in PIN_CONVERTER", marks=pytest.mark.long),
    ],
)
def test_a_pin_that_the_board_uses_is_refused(emulated, tmp_path, pins, said):
    """By the board's own config.py, before any pin is an output (60 s)."""
    board = emulated("level", entry=False)
    done = converter(board, tmp_path, *pins)
    assert done.returncode == 1
    assert said in done.stderr
    assert not any(board.changes(pin) for pin in (*OUTPUT_PINS, 9))
