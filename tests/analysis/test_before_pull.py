"""What comes before the pull: a zero that stepped, a rope with a toe, and lines that do neither."""

from functools import cache

import numpy as np
import pytest
from solved_rig import HEIGHT_M, MASS_KG, RATE_HZ, kelvin, soft, solved

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup, Trace

SETUP = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M, target_n=1800.0)


def toe(x_m, v_m_s):
    """Rope whose strands pull tight first: F = k x**3."""
    return max(2.1e6 * x_m**3 * (1.0 + 0.02 * v_m_s), 0.0) if x_m > 0.0 else 0.0


def stiffens(x_m, v_m_s):
    """A rope that stiffens without end."""
    force_n = 60.0 * (np.exp(x_m / 0.03) - 1.0) * (1.0 + 0.02 * v_m_s) if x_m > 0.0 else 0.0
    return max(force_n, 0.0)


LINES = {"kelvin": kelvin, "soft": soft, "toe": toe, "stiffens": stiffens}


@cache
def dropped(name):
    return solved(LINES[name])


def judged(force_n):
    marks = mark(Trace(force_n, RATE_HZ), SETUP)
    return marks, judge(marks, SETUP)


@pytest.mark.parametrize("offset_n", [70.0, 30.0, -30.0])
def test_a_cable_that_tugs_tells_no_energy_and_no_slip(offset_n):
    """The offset comes 75 ms before the pull and goes 0.33 s after it: nothing slipped."""
    drop = dropped("kelvin")
    time_s = np.arange(drop.force_n.size) / RATE_HZ
    tug_n = np.where((time_s > 0.93) & (time_s < 1.4), offset_n, 0.0)
    marks, verdict = judged(drop.noisy(seed=8) + tug_n)
    assert verdict.record_verdict == "suspect"
    assert marks.has("baseline-step")
    assert marks.energy_absorbed_j is None
    assert marks.max_stretch_m is None
    assert verdict.trace_says != "slipped"
    assert "-" not in marks.text_of("slip-not-excluded").partition(" mm")[0]


@pytest.mark.parametrize("name", LINES)
def test_lines_begin_as_lines_do(name):
    marks, verdict = judged(dropped(name).noisy(seed=9))
    assert not marks.has("baseline-step")
    assert not marks.has("pulls-above-taut")
    assert verdict.record_verdict == "valid"


@pytest.mark.parametrize("name", LINES)
def test_the_stretch_covers_a_rope_that_begins_softly(name):
    marks, truth = judged(dropped(name).noisy(seed=9))[0], dropped(name).truth
    assert abs(marks.max_stretch_m - truth.stretch_m) <= marks.max_stretch_expanded_u_m
    assert abs(marks.energy_absorbed_j - truth.energy_j) <= marks.energy_absorbed_expanded_u_j
    secant = truth.peak_n / truth.stretch_m
    spread = marks.secant_stiffness_expanded_u_n_per_m
    assert abs(marks.secant_stiffness_n_per_m - secant) <= spread + 0.01 * secant  # x at the peak


@pytest.mark.parametrize("name", LINES)
def test_nothing_rings_where_there_is_no_fixture(name):
    assert judged(dropped(name).noisy(seed=9))[0].fixture_hz is None
