"""Odds of a proof: against a Monte Carlo of its own, closed forms, and what must be so."""

import math

import numpy as np
import pytest

from tautlog.campaign.qualification import STRENGTH, Qualification
from tautlog.errors import PlanError, StatementError
from tautlog.model.line import Line
from tautlog.planning.aim import aim_for
from tautlog.planning.chance import chance_of
from tautlog.planning.effort import effort_of
from tautlog.planning.odds import CALIBRATION, odds_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import band_of, peak_parts, predict_drop

G = 9.80665
TARGET_N, LIMIT_N = 1800.0, 1980.0


def drop(u=0.03, drops=9, friction_n=3.5, height_m=1.2):
    line = Line("x", 30_000.0, stiffness_u_fraction=u, drops=drops)
    return PlannedDrop(9.0, height_m, line, friction_n)


def monte_carlo(planned, aim, draws=200_000):
    """Peaks of an ideal spring, m g + sqrt((m g)**2 + k m v**2), every input drawn at random."""
    rng = np.random.default_rng(5)
    k = planned.line.stiffness_n_per_m * (
        1.0 + planned.line.stiffness_u_fraction * rng.standard_normal(draws)
    )
    m = planned.mass_kg * (1.0 + 0.005 * rng.standard_normal(draws))  # limits.MASS_U_FRACTION
    h = planned.height_m + 0.005 * rng.standard_normal(draws)  # limits.HEIGHT_U_M
    f = planned.friction_n + 0.02 * planned.mass_kg * G * rng.standard_normal(draws)
    v2 = 2.0 * h * (G - f / m)
    peak = m * G + np.sqrt((m * G) ** 2 + k * m * v2)
    # The prediction also brakes the sled while the line stretches: same middle, own spread.
    peak *= predict_drop(planned).peak_force_n / np.median(peak)
    seen = peak * (1.0 + 0.5 * aim.u_fraction * rng.standard_normal(draws))
    return (
        np.mean((peak >= TARGET_N) & (peak <= LIMIT_N)),
        np.mean((seen >= aim.low_n) & (seen <= aim.high_n)),
    )


@pytest.mark.parametrize("u", [0.01, 0.03, 0.10])
@pytest.mark.parametrize("height_m", [0.74, 0.80, 0.86])
def test_chances_are_those_of_a_monte_carlo(u, height_m):
    planned, aim = drop(u, height_m=height_m), aim_for(TARGET_N, LIMIT_N, 0.02)
    between, proves = monte_carlo(planned, aim)
    found = chance_of(predict_drop(planned), TARGET_N, LIMIT_N, aim)
    assert found.between == pytest.approx(between, abs=0.02)
    assert found.proves == pytest.approx(proves, abs=0.02)


@pytest.mark.wide
def test_no_height_has_better_odds():
    aim = aim_for(TARGET_N, LIMIT_N, 0.02)
    found = odds_of(drop(), TARGET_N, LIMIT_N, aim)
    for height_m in np.linspace(0.6, 1.1, 26):
        tried = chance_of(predict_drop(drop(height_m=height_m)), TARGET_N, LIMIT_N, aim)
        assert tried.proves <= found.chance.proves + 1e-3
    again = chance_of(predict_drop(drop(height_m=found.height_m)), TARGET_N, LIMIT_N, aim)
    assert again.proves == pytest.approx(found.chance.proves, abs=1e-3)


@pytest.mark.wide
def test_a_new_line_is_dropped_from_lower():
    """Bedding-in only raises a peak: the best height lies below that of the aim."""
    aim = aim_for(TARGET_N, LIMIT_N, 0.02)
    new, old = (odds_of(drop(drops=n), TARGET_N, LIMIT_N, aim) for n in (0, 9))
    assert new.height_m < old.height_m
    assert new.chance.proves < old.chance.proves


def test_what_to_measure_better_pays():
    aim = aim_for(TARGET_N, LIMIT_N, 0.02)
    found = odds_of(drop(0.08), TARGET_N, LIMIT_N, aim)
    assert {one.name for one in found.better} == {
        *("stiffness", "bedding-in", "friction", "height", "mass", CALIBRATION)
    }
    assert all(one.proves >= found.chance.proves - 1e-3 for one in found.better)
    assert found.better[0].name == "stiffness"
    assert [one.proves for one in found.better] == sorted(
        (one.proves for one in found.better), reverse=True
    )


def test_where_nothing_can_be_proven_the_calibration_is_to_blame():
    aim = aim_for(TARGET_N, LIMIT_N, 0.08)
    found = odds_of(drop(), TARGET_N, LIMIT_N, aim)
    assert found.chance.proves == 0.0
    assert found.chance.between > 0.5
    assert found.better[0].name == CALIBRATION


def test_the_band_is_the_root_sum_of_squares_of_its_parts():
    planned = drop(0.03)
    peak_n = predict_drop(planned).peak_force_n
    band = band_of(planned, peak_n)
    parts = peak_parts(planned)
    whole = 2.0 * math.sqrt(sum(part**2 for part in parts.values()))
    assert band.peak_high_n == pytest.approx(peak_n * (1.0 + whole))
    # About half of the stiffness' own uncertainty: the peak goes with its root.
    assert parts["stiffness"] == pytest.approx(0.03 / 2, rel=0.1)
    narrow = band_of(planned, peak_n, exact="stiffness")
    assert narrow.peak_high_n < band.peak_high_n


def test_no_height_no_odds():
    with pytest.raises(PlanError):
        odds_of(drop(), 50.0, 60.0, aim_for(50.0, 60.0, 0.02))


def test_articles_that_a_statement_takes():
    stands = Qualification(reliability=0.9, confidence=0.9)
    assert effort_of(None, stands).articles == 22
    strength = Qualification(STRENGTH, 0.9, 0.95)
    found = effort_of(None, strength)
    assert found.factor == pytest.approx(2.355, abs=1e-3)  # CMH-17-1G, B-basis, n = 10
    assert found.drops is None
    with pytest.raises(StatementError, match="not known"):
        effort_of(None, Qualification())
