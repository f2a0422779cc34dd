"""Fits against certified values of NIST, and against what must hold for any points."""

import csv

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.calibrate.fit import fit_polynomial
from tautlog.errors import CalibrationError


def pontius(data):
    with (data / "loadcell_cal_nist_pontius" / "pontius.csv").open() as file:
        lines = list(csv.DictReader(file))
    return [float(one["load"]) for one in lines], [float(one["deflection"]) for one in lines]


def test_nist_load_cell_calibration(data):
    """NIST StRD, linear least squares, Pontius: certified values (as in four public copies).

    Ten digits of the coefficients and their deviations, twelve of the residual one: a fit
    of unscaled powers reaches six and would fail.
    """
    fit = fit_polynomial(*pontius(data), 2)
    certified = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14]
    deviations = [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16]
    np.testing.assert_allclose(fit.coefficients, certified, rtol=1e-10)
    np.testing.assert_allclose(fit.standard_deviations, deviations, rtol=1e-10)
    assert fit.residual_sd == pytest.approx(0.205177424076185e-03, rel=1e-12)
    assert fit.freedom == 37
    squares = float(fit.residuals @ fit.residuals)
    assert squares == pytest.approx(0.155761768796992e-05, rel=1e-11)
    assert fit.at(1_500_000) == pytest.approx(1.091650464285714, rel=1e-12)


def test_a_straight_line_through_the_same_points_is_ten_times_worse(data):
    """6.14968421e-03, 7.22102581e-07, residual deviation 2.1712726e-03: own exact fit."""
    fit = fit_polynomial(*pontius(data), 1)
    np.testing.assert_allclose(fit.coefficients, [6.14968421e-03, 7.22102581e-07], rtol=1e-8)
    assert fit.residual_sd == pytest.approx(2.1712726e-03, rel=1e-7)


@given(
    st.floats(-1e3, 1e3),
    st.floats(-1e3, 1e3),
    st.lists(st.integers(-1000, 1000), min_size=4, max_size=30, unique=True),
)
def test_points_on_a_line_give_that_line(offset, slope, places):
    x = np.array(places, dtype=float)
    fit = fit_polynomial(x, offset + slope * x, 1)
    scale = 1e-9 * (1 + abs(offset) + 1000 * abs(slope))
    assert fit.coefficients[0] == pytest.approx(offset, abs=scale)
    assert fit.coefficients[1] == pytest.approx(slope, abs=scale)
    assert fit.residual_sd <= scale


@pytest.mark.parametrize(
    ("x", "y", "degree"),
    [([1, 2], [1, 2], 1), ([1, 1, 1], [1, 2, 3], 1), ([1, 2, 3], [1, 2, np.nan], 1)],
)
def test_points_that_give_no_fit(x, y, degree):
    with pytest.raises(CalibrationError):
        fit_polynomial(x, y, degree)
