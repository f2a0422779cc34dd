"""Shock response spectrum, against a solver's values, a closed form and its published maximum."""

import numpy as np
import pytest
from places import DATA
from scipy.optimize import minimize_scalar
from traces import arrest, half_sine, recorded

from tautlog.analysis.marking import mark
from tautlog.analysis.spectrum import quasi_static_above_hz, response_spectrum
from tautlog.model.trace import DropSetup

T_S = 0.011
TABLE = np.genfromtxt(
    DATA / "srs_halfsine_T11ms_Q10.csv", delimiter=",", names=True, comments="#", skip_header=3
)


def pulse(rate_hz, duration_s=T_S):
    return half_sine(1.0, duration_s, rate_hz=rate_hz, start_s=0.0, total_s=duration_s + 1e-4)


@pytest.mark.parametrize(("rate_hz", "within"), [(10e3, 5e-4), (100e3, 2e-5), (1e6, 1e-7)])
def test_damped_half_sine(rate_hz, within):
    """Q = 10, 11 ms: scipy's DOP853 at rtol 1e-11, not a filter (tests/data)."""
    found = response_spectrum(pulse(rate_hz), rate_hz, TABLE["fn_Hz"])
    np.testing.assert_allclose(found, TABLE["maximax"], rtol=within)


def maximax(cycles):
    """Undamped response to a half-sine, closed form (textbooks on shock, from memory)."""
    b = 1 / (2 * cycles)
    time = np.linspace(0, 1, 20001)  # of the pulse
    primary = (np.sin(np.pi * time) - b * np.sin(2 * np.pi * cycles * time)) / (1 - b * b)
    return max(np.abs(primary).max(), abs(2 * b * np.cos(np.pi * cycles) / (1 - b * b)))


@pytest.mark.parametrize("cycles", [0.05, 0.2, 0.25, 0.6, 0.8, 1.0, 1.5, 2.0, 5.0, 10.0])
def test_undamped_half_sine(cycles):
    rate_hz = 1e6
    found = response_spectrum(pulse(rate_hz), rate_hz, np.array([cycles / T_S]), np.inf)
    assert found[0] == pytest.approx(maximax(cycles), rel=1e-5)


def test_the_largest_of_all():
    """1.768 at f T = 0.81, as published for the undamped half-sine."""
    rate_hz = 1e6
    best = minimize_scalar(
        lambda f: -response_spectrum(pulse(rate_hz), rate_hz, np.array([f / T_S]), np.inf)[0],
        bounds=(0.6, 1.1),
        method="bounded",
        options={"xatol": 1e-5},
    )
    assert -best.fun == pytest.approx(1.7684576539937, rel=1e-6)
    assert best.x == pytest.approx(0.8099368, abs=1e-3)


@pytest.mark.parametrize("duration_s", [0.017, 0.06])
def test_quasi_static_above(duration_s):
    """Above the frequency all is below 1.1, and just below it something is not."""
    rate_hz = 62500.0
    found = quasi_static_above_hz(pulse(rate_hz, duration_s), rate_hz)
    above = response_spectrum(pulse(rate_hz, duration_s), rate_hz, np.geomspace(found, 2000.0, 200))
    assert above.max() <= 1.11
    below = response_spectrum(pulse(rate_hz, duration_s), rate_hz, np.array([found / 1.12]))
    assert below[0] > 1.1
    assert 2.0 < found * duration_s < 4.5


def test_of_a_drop():
    """In the marks; and the half-sine of the same peak and impulse is what a half-sine was."""
    _, force_n = arrest(9.0, 1.2, 20e3, 0.05, total_s=2.0)
    marks = mark(recorded(force_n), DropSetup(mass_kg=9.0, height_m=1.2))
    assert 20.0 < marks.quasi_static_above_hz < 200.0
    assert marks.half_sine_s == pytest.approx(marks.base_duration_s, rel=0.15)
    alone = mark(recorded(half_sine(1000.0, 0.04)), DropSetup(), cfc=None)
    assert alone.half_sine_s == pytest.approx(0.04, rel=0.005)


def test_bad_input():
    with pytest.raises(ValueError, match="frequencies"):
        response_spectrum(np.ones(5), 1000.0, np.array([600.0]))
    with pytest.raises(ValueError, match="quality"):
        response_spectrum(np.ones(5), 1000.0, np.array([60.0]), 0.5)
    assert quasi_static_above_hz(np.zeros(100), 1000.0) is None
    assert quasi_static_above_hz(np.ones(100), 40.0) is None
