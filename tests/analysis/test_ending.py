"""Where the force of a load path that let go ended, on shapes known in closed form."""

import numpy as np
import pytest

from tautlog.analysis.ending import ending, places
from tautlog.analysis.find_contacts import without_glitches

RATE_HZ = 10_000.0


def ramp(fall_samples: int, top_n: float = 1000.0) -> tuple[np.ndarray, int]:
    """A rise of 3 ms to `top_n`, then a straight fall of some samples, and nothing."""
    rise = np.linspace(0.0, top_n, 31)
    fall = np.linspace(top_n, 0.0, fall_samples + 1)[1:]
    force = np.concatenate((np.zeros(200), rise, fall, np.zeros(400)))
    return force, 230


def test_the_corner_at_a_break_is_no_glitch():
    force = np.concatenate((np.zeros(100), np.arange(0.0, 1001.0, 200.0), np.zeros(100)))
    clean, spikes = without_glitches(force, 5000.0)
    assert clean.max() == 1000.0
    assert spikes.size == 0


@pytest.mark.parametrize("samples", [(900.0,), (900.0, 900.0), (450.0, 900.0), (900.0, 450.0)])
def test_a_spike_of_one_or_two_samples_still_is_one(samples):
    force = np.random.default_rng(4).normal(0.0, 1.0, 400)
    force[100:160] += 1000.0 * np.sin(np.pi * np.arange(60) / 60)
    force[300 : 300 + len(samples)] += samples
    _, spikes = without_glitches(force, RATE_HZ)
    assert set(range(300, 300 + len(samples))) <= set(spikes.tolist())


def test_a_break_within_a_sample_leaves_nothing_open():
    force, broke = ramp(1)
    assert places(force, RATE_HZ, broke) == (broke, broke)
    assert ending(force, RATE_HZ, None, (0, 200, broke), 1000.0) is None


def test_half_a_slow_fall_is_open_either_way():
    force, broke = ramp(4)
    assert places(force, RATE_HZ, broke) == (broke - 2, broke + 2)
    found = ending(force, RATE_HZ, None, (0, 200, broke), 1000.0)
    step_n = 1000.0 / 30.0
    assert found.lowest_n == pytest.approx(1000.0 - 2.0 * step_n)
    assert found.highest_n == 1000.0
    # Of a triangle with its top at one end: base / sqrt 18; its mean lies below what was seen,
    # which cell and amplifier have not made.
    assert found.mean_n == 1000.0
    assert found.u_n == pytest.approx(2.0 * step_n / np.sqrt(18.0))
    assert not found.unsure


def test_a_fall_as_long_as_the_rise_leaves_a_lower_bound_only():
    force, broke = ramp(20)
    found = ending(force, RATE_HZ, None, (0, 200, broke), 1000.0)
    assert found.unsure
    assert 1000.0 + found.correction().value_n == pytest.approx(found.lowest_n)


def test_what_swings_below_zero_is_the_unloaded_beam():
    force, broke = ramp(1)
    force[broke + 5 : broke + 10] = -400.0
    force[broke + 10 : broke + 15] = 700.0
    assert places(force, RATE_HZ, broke) == (broke, broke)


def test_a_sample_left_out_as_a_glitch_may_be_the_top():
    force, broke = ramp(1)
    found = ending(force, RATE_HZ, None, (0, 200, broke), 1000.0, 1100.0)
    assert found.highest_n == 1100.0
