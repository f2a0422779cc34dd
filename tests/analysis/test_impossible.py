"""What no sled of that mass and height can have done is told, and never trusted."""

import dataclasses

import numpy as np
import pytest
from traces import BEFORE_S, RATE_HZ, G, arrest, plain, recorded

from tautlog.analysis.impossible import of_height, of_momentum
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

PEAK_N = float(arrest(10.0, 1.0, 5000.0, 0.1, total_s=9.0)[1].max())  # of `whole`
SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=0.95 * PEAK_N)
FALL_S = np.sqrt(2.0 / G)


def whole(total_s=9.0, damping_ratio=0.1):
    return recorded(arrest(10.0, 1.0, 5000.0, damping_ratio, total_s=total_s)[1])


def judged(trace, setup=SETUP, **options):
    marks = mark(trace, setup, **options)
    return marks, judge(marks, setup)


def codes(verdict):
    return {one.code for one in verdict.reasons}


def test_nothing_is_told_of_a_plain_drop():
    marks, seen = judged(whole())
    assert seen.record_verdict == "valid"
    odd = {"burst", "height-off", "handled", "impulse-impossible", "impulse-too-large"}
    assert not odd & {one.code for one in marks.findings}


# Momentum


def test_the_bounds_of_momentum():
    """A ball thrown back as fast as it came is the most that a line can do: J = 2 m v."""
    fell = 4.0
    for share, code in ((1.0, None), (1.09, None), (1.2, "impulse-too-large")):
        doubt = of_momentum(np.linspace(fell, -share * fell, 50), fell, went_slack=True)
        assert (doubt and doubt.code) == code
    assert of_momentum(np.array([4.0, -6.0]), fell, went_slack=False).code == "impulse-impossible"
    assert of_momentum(np.array([4.0, 3.0]), fell, went_slack=True).code == "impulse-impossible"
    assert of_momentum(np.array([4.0, 1.0]), fell, went_slack=True).code == "impulse-too-small"
    assert of_momentum(np.array([4.0, 3.0]), fell, went_slack=False) is None


@pytest.mark.parametrize("factor", [1e-3, 1e3])
@pytest.mark.parametrize("seconds", [1.2, 9.0])
def test_a_wrong_unit_is_invalid_with_and_without_a_rebound(factor, seconds):
    """Newtons that were read as kilonewtons, or the other way round."""
    trace = whole()
    force = factor * trace.force_n[: int(seconds * RATE_HZ)]
    setup = dataclasses.replace(SETUP, target_n=factor * SETUP.target_n)
    _, seen = judged(plain(force), setup)
    assert seen.record_verdict == "invalid"


# Height


@pytest.mark.parametrize("factor", [0.8, 0.85, 0.9, 1.1, 1.15, 1.2])
def test_a_wrong_height_is_not_valid(factor):
    _, seen = judged(whole(), dataclasses.replace(SETUP, height_m=factor))
    assert seen.record_verdict != "valid"
    assert codes(seen) & {"height-off", "closure-off", "closure-wrong"}


def test_no_fall_is_shorter_than_a_free_one():
    """The least is sqrt(2 h / g), a closed form."""
    assert of_height(1.0, FALL_S, None) is None
    assert of_height(1.0, 0.95 * FALL_S, None).code == "height-off"
    assert of_height(1.0, 1.2 * FALL_S, None) is None  # a latch may be late, rails may rub
    assert of_height(1.0, FALL_S, 1.05) is None
    assert of_height(1.0, FALL_S, 1.12).code == "height-off"


# A hand on the line


@pytest.mark.parametrize("pull_n", [15.0, 60.0, 150.0])
@pytest.mark.parametrize("length_s", [0.05, 0.12, 0.35])
def test_a_hand_before_the_release_spoils_nothing(pull_n, length_s):
    trace = whole()
    count = int(length_s * RATE_HZ)
    held = trace.force_n.copy()
    end = int((BEFORE_S - 0.01) * RATE_HZ)
    held[end - count : end] += pull_n * np.hanning(count)
    marks, seen = judged(dataclasses.replace(trace, force_n=held))
    bare, _ = judged(trace)
    assert seen.record_verdict == "valid"
    assert marks.zero_offset_n == bare.zero_offset_n
    assert marks.peak_force_n == pytest.approx(bare.peak_force_n, rel=1e-9)
    assert "handled" in {one.code for one in marks.findings}
    assert marks.zero_drift_n is None


# Bursts


@pytest.mark.parametrize("shape", ["hump", "tone"])
@pytest.mark.parametrize("at", [0.4, 0.47, 0.55])
def test_a_burst_is_no_peak(at, shape):
    """2 ms of a quarter of the peak, by a coil or a connector."""
    trace = whole()
    burst_s = np.arange(int(0.002 * RATE_HZ)) / RATE_HZ
    wave = np.sin(np.pi * burst_s / 0.002)
    if shape == "tone":
        wave = np.abs(np.sin(2 * np.pi * 500.0 * burst_s))
    start = int((BEFORE_S + FALL_S + 0.145 * at) * RATE_HZ)
    force = trace.force_n.copy()
    force[start : start + wave.size] += 0.3 * PEAK_N * wave
    marks, seen = judged(dataclasses.replace(trace, force_n=force))
    wrong = abs(marks.peak_force_n - PEAK_N) > marks.peak_force_expanded_u_n
    assert not wrong or seen.record_verdict != "valid"
    assert wrong or at != 0.47  # else this test shows nothing


# Gaps


@pytest.mark.parametrize("released", [True, False])
@pytest.mark.parametrize("height_m", [1.0, None])
def test_a_gap_over_the_first_pull_leaves_no_bounce_on_target(height_m, released):
    trace = whole(damping_ratio=0.02)
    force = trace.force_n.copy()
    start = int((BEFORE_S + FALL_S - 0.01) * RATE_HZ)
    force[start : start + int(0.2 * RATE_HZ)] = np.nan
    setup = dataclasses.replace(SETUP, height_m=height_m, target_n=600.0)
    release_s = BEFORE_S if released else None
    _, seen = judged(plain(force, release_time_s=release_s), setup)
    assert seen.record_verdict == "invalid"
    assert seen.load_verdict == "at-least"


# Ringing


@pytest.mark.parametrize("ring_hz", [80.0, 150.0, 400.0, 900.0])
@pytest.mark.parametrize("share", [0.1, 0.25, 0.3])
@pytest.mark.parametrize("damping", [0.01, 0.05])
def test_a_fixture_that_rings_at_onset_is_no_loss_of_load(ring_hz, share, damping):
    trace = whole()
    since_s = np.maximum(trace.time_s - BEFORE_S - FALL_S, 0.0)
    w = 2 * np.pi * ring_hz
    ring = share * PEAK_N * np.exp(-damping * w * since_s) * np.sin(w * since_s)
    marks, seen = judged(dataclasses.replace(trace, force_n=trace.force_n + ring))
    assert marks.break_time_s is None
    assert seen.trace_says in ("held", "unclear")
    assert marks.onset_time_s == pytest.approx(BEFORE_S + FALL_S, abs=1e-3)


@pytest.mark.parametrize("height_m", [1.0, None])
@pytest.mark.parametrize("stiffness", [5000.0, 50_000.0, 400_000.0])
@pytest.mark.parametrize("millisecond", [1.5, 3.0, 5.0])
def test_a_break_soon_after_the_onset_is_let_go(millisecond, stiffness, height_m):
    """With and without a height: the order of marking does not matter."""
    _, force = arrest(10.0, 1.0, stiffness, 0.1, total_s=3.0)
    first = np.flatnonzero(force)[0]
    broken = force.copy()
    broken[first + int(1e-3 * millisecond * RATE_HZ) :] = 0.0
    if broken.max() < 60.0:
        pytest.skip("less than an eighth of the weight: nothing was taut")
    setup = dataclasses.replace(SETUP, height_m=height_m)
    marks, seen = judged(recorded(broken), setup)
    assert seen.trace_says == "let-go"
    assert marks.break_time_s is not None
