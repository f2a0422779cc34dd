"""Coarse values, loud noise, nothing stated: each is told as what it is."""

from functools import cache

import numpy as np
import pytest
from solved_rig import HEIGHT_M, MASS_KG, RATE_HZ, kelvin, solved

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.analysis.resolution import step_of
from tautlog.model.trace import DropSetup, Trace

SETUP = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M, target_n=1800.0)


@cache
def dropped():
    return solved(kelvin)


def judged(force_n, setup=SETUP):
    marks = mark(Trace(force_n, RATE_HZ), setup)
    return marks, judge(marks, setup)


@pytest.mark.parametrize("step_n", [1.0, 5.0, 10.0, 20.0])
def test_rounded_values_are_no_flat_top(step_n):
    force_n = np.round(dropped().noisy(seed=12) / step_n) * step_n
    marks, verdict = judged(force_n)
    assert not marks.has("flat-top")
    assert verdict.record_verdict == "valid"
    # 20 N make the uncertainty too large for 1886 N to prove 1800 N.
    assert verdict.load_verdict == ("unproven" if step_n > 10.0 else "on-target")
    counts = {one.figure: one for one in marks.budgets}["peak_force_n"].parts
    told = next(part.u for part in counts if part.name == "quantisation")
    assert told == pytest.approx(step_n / 6.0**0.5, rel=1e-6)


@pytest.mark.parametrize("step_n", [0.0, 10.0])
def test_a_rail_is_still_a_flat_top(step_n):
    """Cut at 1500 N, with values as they came and rounded."""
    force_n = np.minimum(dropped().noisy(seed=12), 1500.0)
    if step_n:
        force_n = np.round(force_n / step_n) * step_n
    marks, verdict = judged(force_n)
    assert marks.clipped
    assert verdict.load_verdict == "at-least"


def test_the_step_is_told_only_where_values_have_one():
    rng = np.random.default_rng(3)
    assert step_of(np.round(rng.normal(0.0, 100.0, 9000) / 7.5) * 7.5) == pytest.approx(7.5)
    assert step_of(rng.normal(0.0, 100.0, 9000)) == 0.0
    assert step_of(np.full(100, 3.0)) == 0.0
    assert step_of(np.array([np.nan] * 50)) == 0.0
    # Levels beyond all sense (found by tests/analysis/test_marks_properties.py).
    assert step_of(np.array([0.0, 1e-305, 1.0, 1.5, 1.75, 2.0, 3.0, 2116.0] * 2)) == 0.0


@pytest.mark.parametrize("noise_n", [50.0, 100.0])
def test_white_noise_is_no_pull_that_the_record_begins_in(noise_n):
    assert not judged(dropped().noisy(noise_n, seed=5))[0].has("starts-late")


def test_a_record_that_begins_in_the_pull_is_told():
    """Some milliseconds before the peak."""
    peak = int(np.argmax(dropped().force_n))
    assert judged(dropped().noisy(seed=5)[peak - 100 :])[0].has("starts-late")


def test_without_a_mass_the_record_says_that_nothing_checked_the_gain():
    _, verdict = judged(1.3 * dropped().noisy(seed=5), DropSetup(target_n=1800.0))
    told = [reason.text for reason in verdict.reasons if reason.code == "closure-unknown"]
    assert told
    assert "neither impulse nor rest could be checked" in told[0]
