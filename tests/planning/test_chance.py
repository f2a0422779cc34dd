"""Chance of hitting: against the normal distribution, and against its density integrated."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from tautlog.model.line import Line
from tautlog.planning.aim import Aim
from tautlog.planning.chance import chance_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop

DROP = predict_drop(PlannedDrop(9.0, 1.2, Line("l", 20_000.0), 3.0))
AIM = Aim(1890.0, 1850.0, 1930.0, "")
forces = st.floats(100.0, 5000.0)
widths = st.floats(1.0, 2000.0)


def predicted(peak, low, high):
    return replace(DROP, peak_force_n=peak, peak_low_n=low, peak_high_n=high)


@given(peak=forces, width=widths)
def test_a_symmetric_band_is_a_normal_distribution(peak, width):
    found = chance_of(predicted(peak, peak - width, peak + width), 1800.0, 1980.0, AIM)
    of = norm(peak, width / 2.0)  # the ends are two standard deviations away
    assert found.below == pytest.approx(of.cdf(1800.0), abs=1e-9)
    assert found.above == pytest.approx(of.sf(1980.0), abs=1e-9)
    assert found.between == pytest.approx(of.cdf(1980.0) - of.cdf(1800.0), abs=1e-9)
    assert found.proves == pytest.approx(of.cdf(1930.0) - of.cdf(1850.0), abs=1e-9)


@pytest.mark.parametrize(("low", "high"), [(1000.0, 2800.0), (1800.0, 2500.0), (1850.0, 1950.0)])
def test_a_band_of_two_widths_is_its_density_integrated(low, high):
    peak, left, right = 1900.0, (1900.0 - low) / 2.0, (high - 1900.0) / 2.0
    top = math.sqrt(2.0 / math.pi) / (left + right)

    def density(force):
        width = left if force < peak else right
        return top * math.exp(-0.5 * ((force - peak) / width) ** 2)

    found = chance_of(predicted(peak, low, high), 1800.0, 1980.0, AIM)
    assert found.between == pytest.approx(quad(density, 1800.0, 1980.0, points=[peak])[0], abs=1e-6)


@given(peak=forces, below=st.floats(0.0, 2000.0), above=st.floats(0.0, 2000.0))
def test_the_three_chances_are_all_there_is(peak, below, above):
    found = chance_of(predicted(peak, peak - below, peak + above), 1800.0, 1980.0, AIM)
    shares = (found.below, found.between, found.above)
    assert all(0.0 <= share <= 1.0 for share in (*shares, found.proves))
    assert sum(shares) == pytest.approx(1.0)
    assert found.proves <= found.between + 1e-12


def test_no_proof_where_none_is_possible():
    """With a large U the aim is one force, above what would be too much: nothing proves."""
    found = chance_of(predicted(1900.0, 1800.0, 2000.0), 1800.0, 1980.0, Aim(1950, 1950, 1900, ""))
    assert found.proves == 0.0
