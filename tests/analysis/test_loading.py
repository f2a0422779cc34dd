"""Load rate and durations above levels, against closed forms of a half-sine."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from traces import NOBODY, RATE_HZ, half_sine, plain

from tautlog.analysis.loading import exposed, time_above
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

TARGET = DropSetup(target_n=1000.0)
# Of F sin(pi t / T): 10 to 90 % in T (asin 0.9 - asin 0.1) / pi, and above a share a for
# T (1 - 2 asin(a) / pi).
RISE_PER_T = (math.asin(0.9) - math.asin(0.1)) / math.pi


def pulse(peak_n, duration_s, *, noise_n=0.0, seed=3, **more):
    force_n = half_sine(peak_n, duration_s)
    noise = np.random.default_rng(seed).normal(0.0, noise_n, force_n.size) if noise_n else 0.0
    return plain(force_n + noise, **more)


@pytest.mark.parametrize("duration_s", [0.01, 0.03, 0.12])
def test_rate_of_a_half_sine(duration_s):
    marks = mark(pulse(1500.0, duration_s), NOBODY, cfc=None)
    assert pytest.approx(0.3246, abs=1e-4) == RISE_PER_T
    rate = 0.8 * 1500.0 / (RISE_PER_T * duration_s)
    assert marks.load_rate_n_per_s == pytest.approx(rate, rel=1e-3)
    assert marks.time_to_peak_s == pytest.approx(duration_s / 2, abs=2e-4)


@pytest.mark.parametrize("peak_n", [1050.0, 1400.0, 3000.0])
def test_durations_above_shares_of_the_target(peak_n):
    marks = mark(pulse(peak_n, 0.04), TARGET, cfc=None)
    assert [one.share for one in marks.above_levels] == [0.5, 0.75, 0.9, 1.0]
    for one in marks.above_levels:
        exact = 0.04 * (1 - 2 * math.asin(one.share * 1000.0 / peak_n) / math.pi)
        assert one.duration_s == pytest.approx(exact, abs=1 / RATE_HZ)
        assert one.shortest_s <= one.duration_s <= one.longest_s


def test_a_level_that_was_not_reached():
    marks = mark(pulse(800.0, 0.04), TARGET, cfc=None)
    assert [one.duration_s > 0 for one in marks.above_levels] == [True, True, False, False]


def test_bounds_hold_the_duration_under_another_scale():
    """A calibration that is 3 % off, and stated as such: the bounds hold the true duration."""
    true_s = 0.04 * (1 - 2 * math.asin(1000.0 / 1200.0) / math.pi)
    for scale in (0.97, 1.03):
        trace = pulse(1200.0 * scale, 0.04, calibration_u_fraction=0.031)
        top = mark(trace, TARGET, cfc=None).above_levels[-1]
        assert top.shortest_s <= true_s <= top.longest_s


def test_bounds_meet_the_level_where_it_is_just_reached():
    """Within U of the peak: perhaps never, perhaps for long."""
    top = mark(pulse(1005.0, 0.04, calibration_u_fraction=0.02), TARGET, cfc=None).above_levels[-1]
    assert top.shortest_s == 0.0
    assert top.longest_s > 2 * top.duration_s > 0.0


@pytest.mark.parametrize("duration_s", [0.02, 0.05])
def test_uncertainty_of_the_rate_covers_noise_and_class(duration_s):
    rate = 0.8 * 1500.0 / (RISE_PER_T * duration_s)
    for seed in range(6):
        trace = pulse(1500.0, duration_s, noise_n=6.0, seed=seed, bandwidth_hz=5000.0)
        marks = mark(trace, NOBODY, cfc=180)
        assert abs(marks.load_rate_n_per_s - rate) <= marks.load_rate_expanded_u_n_per_s
        assert marks.load_rate_expanded_u_n_per_s < 0.1 * rate


def test_a_rise_that_may_be_the_filters_own_has_no_uncertainty():
    known = mark(pulse(1500.0, 0.004, bandwidth_hz=5000.0), NOBODY, cfc=60)
    assert known.load_rate_n_per_s is not None
    assert known.load_rate_expanded_u_n_per_s is None
    unstated = mark(pulse(1500.0, 0.04), NOBODY, cfc=180)
    assert unstated.load_rate_expanded_u_n_per_s is None


def test_a_cut_top_has_no_longest_duration():
    trace = pulse(1500.0, 0.04)
    cut = np.minimum(trace.force_n, 1200.0)
    marks = mark(replace(trace, force_n=cut, clipped=cut >= 1200.0), TARGET, cfc=None)
    assert marks.clipped
    assert marks.above_levels[0].longest_s is None
    assert marks.above_levels[0].shortest_s > 0.0


def test_no_durations_over_a_gap_or_without_a_target():
    trace = pulse(1500.0, 0.04)
    holed = trace.force_n.copy()
    holed[int(0.52 * RATE_HZ) : int(0.525 * RATE_HZ)] = np.nan
    assert mark(replace(trace, force_n=holed), TARGET).above_levels == ()
    assert mark(trace, NOBODY).above_levels == ()
    assert mark(replace(trace, force_n=-trace.force_n), TARGET).above_levels == ()


@example([0.0, 2.2250738585e-313], 0.0)
@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=40), st.floats(-1e6, 1e6))
def test_time_above_is_a_part_of_the_whole(values, level):
    curve = np.array(values)
    above = time_above(curve, level)
    assert 0.0 <= above <= curve.size - 1
    assert time_above(curve, level + 1.0) <= above + 1e-9


def test_time_at_load_adds_up_and_says_what_it_does_not_know():
    drops = [mark(pulse(peak_n, 0.04), TARGET, cfc=None) for peak_n in (1100.0, 1300.0)]
    told = exposed(drops)
    assert told.unknown == 0
    for share, seconds in told.levels:
        parts = (0.04 * (1 - 2 * math.asin(share * 1000 / peak) / math.pi) for peak in (1100, 1300))
        assert seconds == pytest.approx(sum(parts), abs=2 / RATE_HZ)
    holed = pulse(1500.0, 0.04).force_n.copy()
    holed[int(0.52 * RATE_HZ) : int(0.525 * RATE_HZ)] = np.nan
    more = exposed([*drops, mark(plain(holed), TARGET, cfc=None)])
    assert more.levels == told.levels
    assert more.unknown == 1
    other = mark(pulse(1100.0, 0.04), DropSetup(target_n=900.0), cfc=None)
    assert exposed([*drops, other]).levels == ()
    empty = mark(plain(np.random.default_rng(1).normal(0.0, 1.0, 60_000)), TARGET)
    assert exposed([*drops, empty]) == told
