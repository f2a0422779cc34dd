"""Further views of a record, against what goes into them."""

import numpy as np
import pytest
from traces import arrest, half_sine, plain, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.display.views import NamedDrop, over_stretch, since_onset, spectra
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=10.0, height_m=1.0)


def shown(trace, setup=SETUP, cfc=None):
    marks = mark(trace, setup, cfc=cfc)
    return NamedDrop("x", Assessment(marks, judge(marks, setup), setup))


def test_force_over_stretch_is_a_straight_line_for_a_spring():
    """K x of the solver's line, to the end of its stretch."""
    trace = recorded(arrest(10.0, 1.0, 5000.0, total_s=2.0)[1], noise_n=0.0)
    curve = over_stretch(shown(trace))
    rising = curve.x > 0.02
    np.testing.assert_allclose(curve.y[rising], 5000.0 * curve.x[rising], rtol=0.01)


def test_aligned_at_onset():
    trace = plain(half_sine(900.0, 0.06, start_s=0.5))
    curve = since_onset(shown(trace))
    assert curve.x[int(np.argmax(curve.y))] == pytest.approx(0.03, abs=5e-4)
    assert curve.x[0] == pytest.approx(-0.03, abs=1e-3)


def test_spectra_of_a_half_sine():
    """2 F T / pi x cos(pi f T) / (1 - (2 f T)**2), closed form; the response peaks at 1.65.

    1.6516 for Q = 10 at f T = 0.823: closed form solved by scipy, see test_spectrum.
    """
    trace = plain(half_sine(900.0, 0.06, start_s=0.5))
    amplitude, response = spectra(shown(trace))
    low = amplitude.x < 20.0
    product = amplitude.x[low] * 0.06
    exact = 2 * 900 * 0.06 / np.pi * np.abs(np.cos(np.pi * product) / (1 - (2 * product) ** 2))
    np.testing.assert_allclose(amplitude.y[low], exact, rtol=0.02)
    assert response.y.max() == pytest.approx(1.6516, rel=0.01)
    assert response.x[int(np.argmax(response.y))] == pytest.approx(0.823 / 0.06, rel=0.06)


def test_where_there_is_nothing_to_see():
    trace = recorded(np.zeros(100_000))
    one = shown(trace)
    assert since_onset(one) is None
    assert over_stretch(one) is None
    assert spectra(one) is None
    pulse = plain(half_sine(900.0, 0.06))
    assert over_stretch(shown(pulse, DropSetup())) is None
