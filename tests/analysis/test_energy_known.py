"""Energy and stretch are told with what is known of the speed, against a rig solved by RK4."""

from dataclasses import replace
from functools import cache

import pytest
from solved_rig import BEFORE_S, HEIGHT_M, MASS_KG, G, soft, solved

from tautlog.analysis.marking import mark
from tautlog.analysis.taut_speed import ByFall, ByMomentum, Change
from tautlog.model.trace import DropSetup, Trace

SETUP = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M, target_n=1700.0)


@cache
def rubbed(friction_n):
    return solved(soft, friction_n)


def marked(drop, release=False, seed=6, gain=1.0, **of_chain):
    trace = Trace(gain * drop.noisy(seed=seed), drop.rate_hz)
    told_s = BEFORE_S if release else None
    return mark(replace(trace, release_time_s=told_s, **of_chain), SETUP)


def covers(marks, truth):
    assert abs(marks.energy_absorbed_j - truth.energy_j) <= marks.energy_absorbed_expanded_u_j
    assert abs(marks.max_stretch_m - truth.stretch_m) <= marks.max_stretch_expanded_u_m
    assert abs(marks.taut_speed_m_s - truth.speed_m_s) <= marks.taut_speed_expanded_u_m_s
    secant = truth.peak_n / truth.stretch_m
    spread = marks.secant_stiffness_expanded_u_n_per_m
    assert abs(marks.secant_stiffness_n_per_m - secant) <= spread + 0.01 * secant  # x at the peak


@pytest.mark.parametrize("friction_n", [0.0, 3.5, 9.0, 12.0, 20.0])
def test_without_a_release_the_interval_covers_rails_that_rub(friction_n):
    """Up to a fifth of the weight, of which nothing was said and no fall time tells."""
    marks = marked(rubbed(friction_n))
    covers(marks, rubbed(friction_n).truth)
    assert marks.energy_absorbed_expanded_u_j < 0.2 * marks.energy_absorbed_j


@pytest.mark.parametrize("friction_n", [0.0, 3.5])
def test_with_a_release_the_fall_tells_a_usual_friction(friction_n):
    marks = marked(rubbed(friction_n), release=True)
    covers(marks, rubbed(friction_n).truth)
    assert marks.energy_absorbed_j == pytest.approx(rubbed(friction_n).truth.energy_j, rel=0.01)
    assert marks.energy_absorbed_expanded_u_j < 0.05 * marks.energy_absorbed_j


@pytest.mark.parametrize("friction_n", [9.0, 12.0, 20.0])
def test_with_a_release_much_friction_may_be_a_late_latch(friction_n):
    """Both lengthen the fall: the momentum tells the speed, and covers the truth."""
    marks = marked(rubbed(friction_n), release=True)
    assert marks.release_delay_s is not None
    covers(marks, rubbed(friction_n).truth)


def test_a_better_calibration_tells_the_energy_better():
    drop = rubbed(3.5)
    rough, fine = marked(drop), marked(drop, calibration_u_fraction=0.01)
    covers(fine, drop.truth)
    assert fine.energy_absorbed_expanded_u_j < 0.8 * rough.energy_absorbed_expanded_u_j


def test_two_ways_that_contradict_tell_nothing():
    """A gain 20 % too high: the momentum asks for a speed that no fall gives."""
    marks = marked(rubbed(3.5), gain=1.2, calibration_u_fraction=0.01)
    assert marks.has("speed-contradicts")
    assert marks.taut_speed_m_s is None
    assert marks.energy_absorbed_j is None
    assert marks.max_stretch_m is None


def test_the_budget_has_each_cause_with_its_basis():
    budgets = {one.figure: one for one in marked(rubbed(3.5)).budgets}
    for figure in ("taut_speed_m_s", "energy_absorbed_j", "max_stretch_m"):
        parts = {part.name: part for part in budgets[figure].parts}
        assert {"force", "mass", "friction", "zero", "onset", "rebound speed"} == set(parts)
        assert all(part.basis for part in parts.values())


def test_the_speed_after_a_fall_by_the_closed_form():
    fall = ByFall((2 * G * 1.2) ** 0.5, 1.2)
    assert fall.at(Change(friction=0.19)) == pytest.approx(0.9 * fall.speed_m_s, rel=1e-9)
    assert fall.at(Change(height_m=0.012)) == pytest.approx(1.005 * fall.speed_m_s, rel=1e-4)


def test_the_speed_by_momentum_by_the_closed_form():
    """J = m (v_in + v_out + g T)."""
    way = ByMomentum(9.0, 9.0 * (4.5 + 3.5 + G * 0.05), 0.05, 3.5)
    assert way.speed_m_s == pytest.approx(4.5, rel=1e-12)
    assert way.at(Change(force=0.01)) - 4.5 == pytest.approx(0.01 * (8.0 + G * 0.05), rel=1e-9)
    assert way.at(Change(friction=0.1)) - 4.5 == pytest.approx(-0.05 * 3.5, rel=1e-9)
