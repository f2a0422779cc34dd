"""Force over stretch, against closed forms and scipy's solver."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from traces import RATE_HZ, G, arrest, recorded

from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

CASES = [(9.0, 1.2, 20e3), (25.0, 2.0, 9e3), (3.0, 0.2, 150e3)]


def marked(mass_kg, height_m, stiffness, damping_ratio=0.0, **more):
    _, force_n = arrest(mass_kg, height_m, stiffness, damping_ratio, total_s=2.0, **more)
    setup = DropSetup(mass_kg=mass_kg, height_m=height_m)
    return mark(recorded(force_n, noise_n=0.2), setup, cfc=None)


@pytest.mark.parametrize(("mass_kg", "height_m", "stiffness"), CASES)
def test_an_elastic_line_by_the_closed_form(mass_kg, height_m, stiffness):
    """Elastic impact (strength of materials): x = (m g / k) (1 + sqrt(1 + 2 k h / (m g))).

    A contact of 14 ms with an onset placed to 0.05 ms: 1 % of the stretch.
    """
    marks = marked(mass_kg, height_m, stiffness)
    static_m = mass_kg * G / stiffness
    stretch_m = static_m * (1 + np.sqrt(1 + 2 * height_m / static_m))
    assert marks.max_stretch_m == pytest.approx(stretch_m, rel=0.01)
    assert marks.energy_absorbed_j == pytest.approx(mass_kg * G * (height_m + stretch_m), rel=5e-3)
    assert marks.secant_stiffness_n_per_m == pytest.approx(stiffness, rel=0.015)
    assert marks.line_stiffness_n_per_m == pytest.approx(stiffness, rel=0.02)
    assert marks.loop_loss == pytest.approx(0.0, abs=5e-3)
    assert marks.damping_ratio == pytest.approx(0.0, abs=3e-3)


def loop_loss(mass_kg, height_m, stiffness, damping_ratio):
    """The same by scipy's solver: work of the line beside way and speed, to the moment of slack."""
    damping = 2 * damping_ratio * np.sqrt(stiffness * mass_kg)

    def motion(_, state):
        x, v, _ = state
        force_n = stiffness * x + damping * v
        return v, G - force_n / mass_kg, force_n * v

    def slack(time_s, state):
        return stiffness * state[0] + damping * state[1] if time_s > 1e-4 else 1.0

    slack.terminal = True
    start = (0.0, np.sqrt(2 * G * height_m), 0.0)
    got = solve_ivp(motion, (0, 1.0), start, events=slack, rtol=1e-10, atol=1e-12, max_step=1e-4)
    return 1 - (got.y[2].max() - got.y[2][-1]) / got.y[2].max()


@pytest.mark.parametrize("damping_ratio", [0.02, 0.08, 0.15])
def test_a_damped_line(damping_ratio):
    """The parameters that went into scipy's solver come out; energy is accounted for."""
    marks = marked(9.0, 1.2, 20e3, damping_ratio)
    assert marks.damping_ratio == pytest.approx(damping_ratio, abs=0.01)
    assert marks.line_stiffness_n_per_m == pytest.approx(20e3, rel=0.05)
    fallen_j = 9.0 * G * (1.2 + marks.max_stretch_m)
    assert marks.energy_absorbed_j == pytest.approx(fallen_j, rel=5e-3)
    assert marks.loop_loss == pytest.approx(loop_loss(9.0, 1.2, 20e3, damping_ratio), abs=0.01)


def test_a_line_that_breaks():
    """Up to the break the energy is that of the spring: F**2 / (2 k)."""
    marks = marked(9.0, 1.2, 20e3, breaks_at_n=1200.0)
    assert marks.break_force_n == pytest.approx(1200.0, rel=0.02)
    assert marks.energy_absorbed_j == pytest.approx(1200.0**2 / (2 * 20e3), rel=0.05)
    assert marks.loop_loss is None
    assert marks.max_stretch_m is None


def test_a_plateau_has_no_stiffness():
    """A line that slips at a steady force is no spring."""
    _, force_n = arrest(9.0, 1.2, 20e3, total_s=2.0)
    flat = np.minimum(force_n, 700.0)
    first = int(np.flatnonzero(flat >= 700.0)[0])
    flat = flat.copy()
    flat[first : first + int(0.06 * RATE_HZ)] = 700.0
    marks = mark(recorded(flat), DropSetup(mass_kg=9.0, height_m=1.2), cfc=None)
    assert marks.line_stiffness_n_per_m is None
    assert marks.damping_ratio is None


@pytest.mark.parametrize("damping_ratio", [0.0, 0.05, 0.15, 0.3])
@pytest.mark.parametrize(("mass_kg", "height_m", "stiffness"), CASES)
@pytest.mark.rows(4)
def test_a_line_that_holds_does_not_slip(mass_kg, height_m, stiffness, damping_ratio):
    """Stretch that is left at slack because of damping is no slip."""
    assert not marked(mass_kg, height_m, stiffness, damping_ratio).has("slip")


def test_nothing_is_invented():
    """Without mass, or with a gap in the contact, there is no stretch."""
    _, force_n = arrest(9.0, 1.2, 20e3, 0.05, total_s=2.0)
    trace = recorded(force_n)
    names = ("max_stretch_m", "energy_absorbed_j", "line_stiffness_n_per_m", "damping_ratio")
    nobody = mark(trace, DropSetup(height_m=1.2))
    holed = trace.force_n.copy()
    at = int(np.argmax(holed))
    holed[at - 20 : at] = np.nan
    gap = mark(replace(trace, force_n=holed), DropSetup(mass_kg=9.0, height_m=1.2))
    for marks in (nobody, gap):
        assert [getattr(marks, name) for name in names] == [None] * 4


def test_bounces_as_high_as_the_first_are_not_the_drop():
    """A line without loss: the measured contact is the first, and its zero is taken before it."""
    _, force_n = arrest(9.0, 1.2, 20e3, total_s=5.0)
    marks = mark(recorded(force_n, noise_n=2.0), DropSetup(mass_kg=9.0, height_m=1.2))
    assert not marks.has("never-taut")
    assert marks.fall_time_s == pytest.approx(np.sqrt(2 * 1.2 / G), abs=1e-3)
    assert marks.restitution == pytest.approx(1.0, abs=2e-3)
