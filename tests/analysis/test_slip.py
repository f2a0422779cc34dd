"""What the pulls tell of a slip: laws of lines, solved by scipy, that hold or let line through.

Nothing here comes from the project's own mechanics.
"""

import functools

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from traces import RATE_HZ, G, arrest, recorded

from tautlog.analysis import slip
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

MASS_KG, HEIGHT_M, STIFFNESS = 10.0, 1.0, 20_000.0
SETUP = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M)
# v0 / w: the largest stretch of the line without a damper, but for the weight.
STRETCH_M = np.sqrt(2.0 * G * HEIGHT_M * MASS_KG / STIFFNESS)
CRITICAL = 2.0 * np.sqrt(STIFFNESS * MASS_KG)


@functools.cache
def clamped(damping_ratio, slips_at_n, length_m, kept=0.9, total_s=3.0):
    """Force of a damped line whose clamp lets `length_m` through at a force, then jams.

    While it slips, the line pulls with `kept` of that force, and the clamp takes all speed.
    """
    c = damping_ratio * CRITICAL

    def pull(x, v, slipped):
        e = x - slipped
        return max(STIFFNESS * e + c * v, 0.0) if e > 0 else 0.0

    def slipping(x, v, slipped):
        return v > 0 and slipped < length_m and (slipped > 0 or pull(x, v, slipped) > slips_at_n)

    def motion(_, state):
        v = state[1]
        if slipping(*state):
            rate = max(v, 0.0) + (pull(*state) - kept * slips_at_n) / (0.02 * STIFFNESS)
            return v, G - pull(*state) / MASS_KG, max(rate, 0.0)
        return v, G - pull(*state) / MASS_KG, 0.0

    time_s = np.arange(int(total_s * RATE_HZ)) / RATE_HZ
    got = solve_ivp(
        motion, (0, total_s), (-HEIGHT_M, 0.0, 0.0), t_eval=time_s, rtol=1e-7, max_step=1e-3
    )
    return np.array([pull(*state) for state in got.y.T])


@functools.cache
def creeping(arm, relaxes_s, total_s=3.0):
    """Standard linear solid: a spring beside a spring with a dashpot in series."""
    second = arm * STIFFNESS

    def pull(x, s):
        return max(STIFFNESS * x + second * (x - s), 0.0) if x > 0 or s < 0 else 0.0

    def motion(_, state):
        x, v, s = state
        taut = STIFFNESS * x + second * (x - s) > 0.0
        # A slack line carries nothing: its own stretch is what the creeping part holds.
        own = x if taut else second * s / (STIFFNESS + second)
        return v, G - (pull(x, s) if taut else 0.0) / MASS_KG, (own - s) / relaxes_s

    time_s = np.arange(int(total_s * RATE_HZ)) / RATE_HZ
    got = solve_ivp(
        motion, (0, total_s), (-HEIGHT_M, 0.0, 0.0), t_eval=time_s, rtol=1e-7, max_step=1e-3
    )
    return np.maximum([pull(x, s) for x, _, s in got.y.T], 0.0)


def says(force, noise_n=2.0, seed=1, setup=SETUP):
    marks = mark(recorded(force, noise_n=noise_n, seed=seed), setup)
    return judge(marks, setup).trace_says


@pytest.mark.parametrize("damping_ratio", [0.0, 0.08, 0.16, 0.2, 0.25])
@pytest.mark.parametrize("stiffness", [4000.0, 20_000.0, 100_000.0])
@pytest.mark.rows(5)
def test_a_damped_line_holds(damping_ratio, stiffness):
    """A quarter of critical damping leaves a quarter of the stretch at slack, each time."""
    _, force = arrest(MASS_KG, HEIGHT_M, stiffness, damping_ratio, total_s=3.0)
    assert says(force) == "held"


@pytest.mark.parametrize("relaxes", [0.05, 0.3, 1.0])
@pytest.mark.parametrize("arm", [0.2, 0.8])
@pytest.mark.rows(2)
def test_a_line_that_creeps_holds(arm, relaxes):
    half_s = np.pi * np.sqrt(MASS_KG / STIFFNESS)
    assert says(creeping(arm, relaxes * half_s)) == "held"


@pytest.mark.parametrize("share", [0.12, 0.2, 0.4, 0.8])
@pytest.mark.parametrize("damping_ratio", [0.03, 0.12])
@pytest.mark.rows(3)
def test_a_slip_of_a_tenth_is_never_held(damping_ratio, share):
    at_n = 0.6 * STIFFNESS * STRETCH_M
    told = says(clamped(damping_ratio, at_n, share * STRETCH_M))
    assert told in ("slipped", "unclear")
    if share >= 0.4:
        assert told == "slipped"


@pytest.mark.parametrize("height_m", [None, HEIGHT_M])
def test_a_slip_is_no_slip_without_a_second_pull(height_m):
    """One pull does not tell it from a damper."""
    force = clamped(0.08, 0.6 * STIFFNESS * STRETCH_M, 0.2 * STRETCH_M)
    first = np.flatnonzero(force)[0]
    one = force[: first + int(0.3 * RATE_HZ)]
    setup = DropSetup(mass_kg=MASS_KG, height_m=height_m)
    assert says(one, setup=setup) == "unclear"


def test_the_speed_of_the_fall_is_bounded_from_both_sides():
    """Constant friction: t = 2 h / v, a closed form."""
    speed = 4.0
    fall_s = 2.0 * 1.0 / speed
    found = slip.fall_between(np.sqrt(2 * G), 1.0, fall_s, 0.0)
    assert found.least_m_s == pytest.approx(speed)
    assert found.most_m_s == pytest.approx(np.sqrt(2 * G))
    late = slip.fall_between(np.sqrt(2 * G), 1.0, fall_s + 0.03, 0.03)
    assert late.least_m_s == pytest.approx(speed)
    unknown = slip.fall_between(4.4, 1.0, None, 0.0)
    assert unknown.least_m_s < 4.4 == unknown.most_m_s
