"""Trend: peaks that leave the line's constants evenly are followed to the next drop."""

import math
from dataclasses import replace

import pytest

from tautlog.model.line import Line
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning.learning import Lesson, learn
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import band_of, predict_drop
from tautlog.planning.solving import solve_height
from tautlog.planning.trend import SCATTER_U, SLOPE_U, trend_of

LINE = Line("x", 2e4, drops=9)
HEIGHTS_M = (0.3, 0.6, 1.0)


def lesson(height_m, peak_n, number):
    return Lesson("x", 9.0, height_m, peak_n, 2e4, 0.0, 0.0, None, None, number)


def lessons(factor, heights_m=HEIGHTS_M):
    """Drops whose peaks are those of the constants times a factor of the height."""
    return [
        lesson(h, factor(h) * PlannedDrop(9.0, h, LINE, 0.0).peak_n(), number)
        for number, h in enumerate(heights_m, start=3)
    ]


@pytest.mark.parametrize("power", [-0.12, -0.05, 0.0, 0.08])
@pytest.mark.parametrize("level", [0.9, 1.0, 1.1])
def test_a_power_of_the_energy_is_followed(level, power):
    """The prior of the slope takes little: three drops, 1.2 in ln h apart, are worth more."""
    learned = learn("x", lessons(lambda h: level * h**power), [], 6)
    told = predict_drop(PlannedDrop(9.0, 1.5, learned.line, learned.friction_n))
    truth = level * 1.5**power * PlannedDrop(9.0, 1.5, LINE, 0.0).peak_n()
    assert told.peak_force_n == pytest.approx(truth, rel=0.005)
    assert told.peak_low_n < truth < told.peak_high_n
    assert told.peak_high_n / told.peak_low_n < 1.1
    # What is odd does not hide in the trend.
    assert learned.ratios == pytest.approx([level * h**power for h in HEIGHTS_M], rel=1e-6)


def test_one_drop_tells_the_level_and_the_prior_of_the_slope_the_rest():
    """By hand: u of the level is that of the drop; the slope adds SLOPE_U x ln(E / E1)."""
    trend = trend_of(tuple(lessons(lambda h: 1.07, (0.5,))), LINE, 0.0)
    drop_u = math.hypot(SCATTER_U, 0.5 * 0.005 / 0.5)
    assert (trend.level, trend.slope) == (pytest.approx(math.log(1.07)), 0.0)
    assert trend.energy_j == pytest.approx(9.0 * G * 0.5)
    for times in (1.0, 2.0, 4.0):
        by_hand = math.sqrt(drop_u**2 + (SLOPE_U * math.log(times)) ** 2 + SCATTER_U**2)
        assert trend.u(times * trend.energy_j) == pytest.approx(by_hand)


def test_drops_that_scatter_make_the_band_wider():
    even = trend_of(tuple(lessons(lambda h: 1.0)), LINE, 0.0)
    odd = trend_of(tuple(lessons(lambda h: 1.1 if h == 0.6 else 1.0)), LINE, 0.0)
    assert odd.u(100.0) > 3.0 * even.u(100.0)


def test_friction_that_explained_the_drops_costs_the_next_one_nothing():
    learned = learn("x", lessons(lambda h: 1.0), [], 6, 3.0)
    same = PlannedDrop(9.0, 1.2, learned.line, 3.0)
    unstated = replace(same, friction_n=None)
    other = replace(same, friction_n=6.0)
    assert unstated.peak_n() == same.peak_n() > other.peak_n()
    width = [
        band_of(one, 1000.0).peak_high_n - band_of(one, 1000.0).peak_low_n
        for one in (same, unstated, other)
    ]
    assert width[0] == width[1] < width[2]


def test_a_height_is_solved_with_the_trend():
    learned = learn("x", lessons(lambda h: 0.95 * h**-0.05), [], 6)
    found = solve_height(PlannedDrop(9.0, 1.0, learned.line, 0.0), 2000.0)
    assert predict_drop(found).peak_force_n == pytest.approx(2000.0, rel=1e-4)


def test_what_no_line_explains_makes_no_trend():
    assert trend_of((lesson(0.5, 1e5, 3),), LINE, 0.0) is None
    assert trend_of((lesson(0.5, 900.0, 3),), LINE, 500.0) is None  # friction above the weight
