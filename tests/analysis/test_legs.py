"""Legs: two springs of known stiffness and slack, and shares that follow from them."""

import math

import numpy as np
import pytest

from tautlog.analysis.in_turn import on_time, summed
from tautlog.analysis.legs import share_u, tell_legs
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup, Trace

RATE_HZ = 31_250.0
G = 9.80665
SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
BEFORE_S, AFTER_S = 0.6, 0.4


def two_springs(left_n_per_m, right_n_per_m, longer_m, *, noise_n=0.5, seed=1, u=0.025):
    """Force of two undamped springs, the right one longer, under a sled that falls 1.2 m.

    Closed form: m x'' = m g - k x with x(0) = x0, x'(0) = v0 has the solution
    x = g / w^2 + (x0 - g / w^2) cos w t + v0 / w sin w t, w = sqrt(k / m). Until the right spring
    is taut k is the left one's; from then on both pull, about another rest.
    """
    mass, speed = 9.0, math.sqrt(2 * G * 1.2)
    time = np.arange(-BEFORE_S, AFTER_S, 1 / RATE_HZ)
    fine = np.arange(0.0, 0.2, 1e-6)

    def moved(k, rest, x0, v0, t):
        w = math.sqrt(k / mass)
        return rest + (x0 - rest) * np.cos(w * t) + v0 / w * np.sin(w * t)

    alone = moved(left_n_per_m, mass * G / left_n_per_m, 0.0, speed, fine)
    taut_s = float(fine[np.argmax(alone >= longer_m)]) if longer_m else 0.0
    w = math.sqrt(left_n_per_m / mass)
    rest = mass * G / left_n_per_m
    then = rest * w * math.sin(w * taut_s) + speed * math.cos(w * taut_s)
    both = left_n_per_m + right_n_per_m
    middle = (mass * G + right_n_per_m * longer_m) / both
    x = np.where(
        time < taut_s,
        moved(left_n_per_m, rest, 0.0, speed, time),
        moved(both, middle, longer_m, then, time - taut_s),
    )
    x = np.where(time < 0, 0.0, x)
    gone = (time > 0.02) & (x <= 0)
    x = np.where(np.cumsum(gone) > 0, 0.0, x)
    noise = np.random.default_rng(seed).normal(0.0, noise_n, (2, time.size))
    forces = (left_n_per_m * x, right_n_per_m * np.clip(x - longer_m, 0.0, None))
    traces = {
        name: Trace(
            force + noise[n],
            RATE_HZ,
            release_time_s=BEFORE_S - math.sqrt(2 * 1.2 / G),
            calibration_u_fraction=u,
            covered_n=2700.0,
            bandwidth_hz=2000.0,
        )
        for n, (name, force) in enumerate(zip(("force left", "force right"), forces, strict=True))
    }
    most = float(x.max())
    share = left_n_per_m * most / (left_n_per_m * most + right_n_per_m * (most - longer_m))
    return traces, taut_s, share


def told(traces, cfc=600):
    whole = mark(summed(list(traces.values())), SETUP, cfc=cfc)
    return whole, tell_legs(whole, traces, SETUP, cfc=cfc, zero="slack")


@pytest.mark.parametrize(
    ("left", "right", "longer_m"),
    [(12e3, 9e3, 0.0), (12e3, 9e3, 0.010), (8e3, 14e3, 0.005), (10e3, 10e3, 0.030)],
)
def test_shares_and_onsets_are_those_of_two_springs(left, right, longer_m):
    traces, taut_s, share = two_springs(left, right, longer_m)
    whole, legs = told(traces)
    assert [leg.share for leg in legs.legs] == pytest.approx([share, 1 - share], abs=0.003)
    assert math.fsum(leg.share for leg in legs.legs) == pytest.approx(1.0)
    assert legs.onset_difference_s == pytest.approx(taut_s, abs=3e-4)
    assert abs(legs.onset_difference_s - taut_s) < legs.onset_difference_expanded_u_s
    assert legs.slack_difference_m == pytest.approx(longer_m, abs=2e-3)
    assert legs.first_taut == ("force left" if longer_m >= 0.005 else None)
    assert legs.let_go_first is None
    total = sum(trace.force_n.max() for trace in traces.values())
    assert whole.peak_force_n == pytest.approx(total, rel=0.01)


def test_the_interval_of_the_onset_holds():
    """Of ten drops with much noise nine at least hold the truth (95 % are stated)."""
    inside = 0
    for seed in range(10):
        longer_m = 0.004 + 0.0016 * seed
        traces, taut_s, _ = two_springs(11e3, 9e3, longer_m, noise_n=4.0, seed=seed)
        legs = told(traces, cfc=180)[1]
        inside += abs(legs.onset_difference_s - taut_s) <= legs.onset_difference_expanded_u_s
    assert inside >= 9


def test_the_uncertainty_of_shares_against_a_simulation():
    """GUM's law of propagation against 20 000 draws (JCGM 101:2008)."""
    forces, u_n = np.array([900.0, 600.0, 300.0]), np.array([15.0, 12.0, 9.0])
    drawn = np.random.default_rng(2).normal(forces, u_n, (20_000, 3))
    spread = 2.0 * (drawn / drawn.sum(axis=1, keepdims=True)).std(axis=0)
    told_u = share_u(list(forces / forces.sum()), list(u_n), forces.sum())
    assert told_u == pytest.approx(spread, rel=0.03)


def test_the_sum_is_not_known_with_a_leg_that_nobody_calibrated():
    traces, *_ = two_springs(10e3, 10e3, 0.0)
    traces["force right"] = None
    whole, legs = told(traces)
    assert whole.peak_force_n is None
    assert legs.sum_peak_force_n is None
    assert [leg.calibrated for leg in legs.legs] == [True, False]
    assert legs.legs[0].peak_force_n == pytest.approx(1000.0, rel=0.3)
    assert legs.legs[0].share is None
    assert [one.code for one in legs.findings] == ["leg-uncalibrated"]


def test_what_is_known_of_the_legs_is_what_is_known_of_the_sum():
    a = Trace(
        np.array([0.0, 600.0, 0.0]),
        1e4,
        calibration_u_fraction=0.02,
        calibration_u_n=1.0,
        covered_n=900.0,
        bandwidth_hz=2000.0,
        quantum_n=3.0,
    )
    b = Trace(
        np.array([0.0, 300.0, 0.0]),
        1e4,
        calibration_u_fraction=0.03,
        calibration_u_n=2.0,
        covered_n=900.0,
        bandwidth_hz=1000.0,
        quantum_n=4.0,
        calibration_expired=True,
        clipped=np.array([False, True, False]),
    )
    both = summed([a, b])
    assert both.force_n.tolist() == [0.0, 900.0, 0.0]
    assert (both.calibration_u_fraction, both.calibration_u_n) == (0.03, 3.0)
    assert both.quantum_n == 5.0
    assert both.covered_n == pytest.approx(1350.0)  # the left leg has two thirds of it
    assert both.bandwidth_hz == 1000.0
    assert both.calibration_expired
    assert both.clipped.tolist() == [False, True, False]


def test_a_channel_that_is_sampled_later_is_brought_back():
    """A ramp moves by its slope times the delay, exactly; a slow sine by less than 0.01 %."""
    at = np.arange(200.0)
    for late in (0.0, 1 / 16, 2 / 24, 0.5):
        assert on_time(3.0 * (at + late), late)[1:] == pytest.approx(3.0 * at[1:])
    wave = np.sin(2 * np.pi * (at + 1 / 16) / 100)
    assert on_time(wave, 1 / 16)[1:] == pytest.approx(np.sin(2 * np.pi * at[1:] / 100), abs=2e-4)
    gap = at.copy()
    gap[50] = np.nan
    assert np.flatnonzero(np.isnan(on_time(gap, 0.25))).tolist() == [50, 51]
