"""Marks of anything: never an error, never a zero for "unknown", the right symmetries."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from traces import RATE_HZ, arrest, half_sine, plain, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.marks_json import as_json
from tautlog.model.trace import DropSetup, Trace

SETUPS = st.builds(
    DropSetup,
    mass_kg=st.none() | st.floats(0.1, 1e3),
    height_m=st.none() | st.floats(0, 10),
    target_n=st.none() | st.floats(1, 1e5),
    article_finding=st.sampled_from(["intact", "parted", "not-inspected"]),
)
VALUES = st.floats(-1e4, 1e4) | st.sampled_from([0.0, math.nan, math.inf, -math.inf, 1e300])


def is_sound(trace, setup, **options):
    marks = mark(trace, setup, **options)
    result = as_json(marks, judge(marks, setup), "x")
    for name, value in result.items():
        if isinstance(value, float):
            assert math.isfinite(value), name
    assert result["samples"] == trace.force_n.size
    if marks.peak_force_n is None:
        whole = result["record_ends"] is None and not result["gap_in_contact"]
        # What moves and is no pull of a line may have loaded the part, too.
        whole &= "not-a-pull" not in [reason["code"] for reason in result["reasons"]]
        assert result["load_verdict"] == ("no-load" if whole else "at-least")
        assert result["impulse_ns"] is None
    return result


@settings(max_examples=200)
@given(
    arrays(float, st.integers(0, 400), elements=VALUES),
    st.sampled_from([100.0, 1000.0, 62500.0, 500_000.0]),
    st.none() | st.floats(-1, 2),
    SETUPS,
    st.sampled_from([None, 60, 180, 600, 1000]),
    st.sampled_from(["slack", "none"]),
)
def test_any_trace_can_be_marked(force, rate_hz, release_s, setup, cfc, zero):
    trace = Trace(force_n=force, sample_rate_hz=rate_hz, release_time_s=release_s)
    is_sound(trace, setup, cfc=cfc, zero=zero)


@settings(max_examples=40)
@given(st.integers(0, 30_000), st.integers(1, 30_000), SETUPS)
def test_any_piece_of_a_drop_can_be_marked(start, size, setup):
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    whole = recorded(force)
    piece = whole.force_n[start : start + size]
    is_sound(Trace(force_n=piece, sample_rate_hz=RATE_HZ, release_time_s=0.1), setup)


@settings(max_examples=15)
@given(st.floats(0.05, 50.0), st.floats(-500.0, 500.0))
@pytest.mark.wide
def test_figures_scale_with_the_force_and_not_with_the_zero(scale, zero_n):
    _, force = arrest(10.0, 1.0, 5000.0, 0.1, total_s=2.0)
    setup = DropSetup(mass_kg=10.0, height_m=1.0)
    one = mark(recorded(force, quantum_n=0.0), setup)
    scaled = recorded(scale * force, noise_n=0.5 * scale, zero_n=zero_n, quantum_n=0.0)
    two = mark(scaled, dataclasses.replace(setup, mass_kg=10.0 * scale))
    for name in ("peak_force_n", "impulse_ns", "peak_force_unfiltered_n"):
        assert getattr(two, name) == pytest.approx(scale * getattr(one, name), rel=1e-6)
    for name in ("duration_s", "onset_time_s", "rise_time_s", "impulse_closure", "bounces"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-6)


@settings(max_examples=25)
@given(st.floats(0.004, 0.3), st.floats(100, 5000), st.floats(0.3, 0.6))
def test_half_sine_anywhere(duration_s, peak_n, start_s):
    marks = mark(plain(half_sine(peak_n, duration_s, start_s=start_s)), DropSetup(), cfc=1000)
    assert marks.peak_force_n == pytest.approx(peak_n, rel=1e-3)
    assert marks.impulse_ns == pytest.approx(2 * peak_n * duration_s / math.pi, rel=3e-3)
    assert marks.peak_time_s == pytest.approx(start_s + duration_s / 2, abs=2e-4)


@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1), st.floats(0.3, 0.95))
def test_clipped_is_never_on_target(seed, fraction):
    """Whatever the target: a clipped top is a lower bound."""
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    trace = recorded(force, seed=seed)
    level = fraction * force.max() + 40.0
    cut = dataclasses.replace(trace, force_n=np.minimum(trace.force_n, level))
    setup = DropSetup(mass_kg=10.0, height_m=1.0, target_n=fraction * force.max() / 1.05)
    marks = mark(cut, setup)
    assert judge(marks, setup).load_verdict == "at-least"


@pytest.mark.parametrize("damping_ratio", [0.0, 0.05, 0.15])
@pytest.mark.parametrize("breaks_at_n", [150, 300, 550, 800])
@pytest.mark.rows(4)
def test_let_go_is_never_held(breaks_at_n, damping_ratio):
    _, force = arrest(10.0, 1.0, 5000.0, damping_ratio, total_s=3.5, breaks_at_n=breaks_at_n)
    setup = DropSetup(mass_kg=10.0, height_m=1.0)
    for seed in range(3):
        says = judge(mark(recorded(force, seed=seed), setup), setup).trace_says
        # A damped line pulls with c v0 at once: a break below that leaves nothing to see.
        assert says == "let-go" if (force > 0).sum() > 60 else says != "held"


def test_a_rate_of_one_hertz_is_marked_without_falling_over():
    """Found by mutations: the window of the zero had no sample, and `mark` divided by nothing."""
    trace = Trace(np.r_[np.zeros(3000), np.full(60, 900.0), np.zeros(900)], 1.0, 3950.0)
    is_sound(trace, DropSetup(mass_kg=9.0, height_m=1.2), cfc=None, zero="slack")
