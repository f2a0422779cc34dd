"""Channel frequency classes against SAE J211-1 and ISO 6487 as transcribed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.signal import butter, freqz
from traces import half_sine

from tautlog.filters import CLASSES, CORNER_PER_CLASS, cfc_filter, finite_runs, highest_class_for

# Coefficients of one pass, from the formulas of SAE J211-1, appendix C (as transcribed
# by public libraries): wd = 2 pi C 2.0775, wa = tan(wd T / 2), d = 1 + sqrt 2 wa + wa^2,
# a0 = wa^2 / d, b1 = -2 (wa^2 - 1) / d, b2 = (-1 + sqrt 2 wa - wa^2) / d.
J211 = [
    (60, 10_000, 1.452367473553412e-03, 1.889343224221574, -0.895152694115787),
    (180, 10_000, 1.179627109977845e-02, 1.670117463267827, -0.717302547666941),
    (600, 10_000, 9.718462527936682e-02, 0.945574009061789, -0.334312510179257),
    (1000, 10_000, 2.192314172190018e-01, 0.311896544995985, -0.188822213871992),
    (1000, 50_000, 1.432742737415930e-02, 1.634005081973352, -0.691314791469989),
]


def impulse_response(cfc, rate_hz, size=4001):
    pulse = np.zeros(size)
    pulse[size // 2] = 1.0
    return cfc_filter(pulse, rate_hz, cfc)


@pytest.mark.parametrize(("cfc", "rate_hz", "a0", "b1", "b2"), J211)
def test_response_is_that_of_the_published_coefficients(cfc, rate_hz, a0, b1, b2):
    """Both passes together: |H|^2 of the difference equation, at every frequency."""
    response = impulse_response(cfc, rate_hz)
    seen = np.abs(np.fft.rfft(np.roll(response, -(response.size // 2))))
    w = 2 * np.pi * np.fft.rfftfreq(response.size)
    _, once = freqz([a0, 2 * a0, a0], [1, -b1, -b2], worN=w)
    np.testing.assert_allclose(seen, np.abs(once) ** 2, atol=2e-9)


@pytest.mark.parametrize(
    ("cfc", "rate_hz", "cutoff_hz"),
    [(60, 10_000, 100), (180, 10_000, 300), (600, 10_000, 1000), (1000, 20_000, 1650)],
)
def test_cut_off_frequencies(cfc, rate_hz, cutoff_hz):
    """FN of UN R94, annex 8 (as transcribed): 3 dB down at 100, 300, 1000 and 1650 Hz.

    A sampled filter is 3.0103 dB down at (fs / pi) atan(0.80224 tan(pi 2.0775 C / fs)),
    2 to 2.6 % above the rounded figures at these rates.
    """
    response = impulse_response(cfc, rate_hz, 40_001)
    gain_db = 20 * np.log10(np.abs(np.fft.rfft(response)))
    hz = np.fft.rfftfreq(response.size, 1 / rate_hz)
    seen_hz = np.interp(10 * np.log10(0.5), gain_db[::-1], hz[::-1])
    exact_hz = rate_hz / np.pi * np.arctan(0.8022432629 * np.tan(np.pi * 2.0775 * cfc / rate_hz))
    assert seen_hz == pytest.approx(exact_hz, rel=1e-4)
    assert seen_hz == pytest.approx(cutoff_hz, rel=0.026)


# Peak out over peak in of a half sine, by quadrature of the filter's own response
# 1 / (1 + (f / (2.0775 C))^4) on the exact spectrum of the pulse.
DROOP = [
    (2e-3, 60, 0.33629475),
    (2e-3, 180, 0.78249904),
    (5e-3, 60, 0.702500),
    (10e-3, 60, 0.950717),
    (10e-3, 180, 0.999650),
    (11e-3, 180, 0.999770),
    (20e-3, 60, 0.999173),
]


@pytest.mark.parametrize(("duration_s", "cfc", "ratio"), DROOP)
def test_droop_of_a_half_sine(duration_s, cfc, ratio):
    pulse = half_sine(1000.0, duration_s, rate_hz=500_000, start_s=0.1, total_s=0.25)
    seen = cfc_filter(pulse, 500_000, cfc).max() / 1000.0
    assert seen == pytest.approx(ratio, abs=1e-5)


@given(st.floats(-1e6, 1e6), st.sampled_from(CLASSES), st.integers(1, 400))
def test_a_constant_comes_back(value, cfc, size):
    out = cfc_filter(np.full(size, value), 20_000, cfc)
    np.testing.assert_allclose(out, value, rtol=1e-9, atol=1e-9)


@given(arrays(float, st.integers(0, 200), elements=st.floats(-1e3, 1e3)), st.sampled_from(CLASSES))
def test_filtering_is_linear_and_leaves_its_input(values, cfc):
    before = values.copy()
    once = cfc_filter(values, 20_000, cfc)
    np.testing.assert_array_equal(values, before)
    np.testing.assert_allclose(cfc_filter(-3 * values, 20_000, cfc), -3 * once, atol=1e-6)
    assert once.shape == values.shape


def test_impulse_keeps_its_value():
    """Gain 1 at 0 Hz: area under a pulse is not changed (closed form 2 F T / pi)."""
    pulse = half_sine(800.0, 0.02)
    area = np.trapezoid(cfc_filter(pulse, 62500, 180)) / 62500
    assert area == pytest.approx(2 * 800 * 0.02 / np.pi, rel=1e-6)


def test_no_phase_shift():
    pulse = half_sine(800.0, 0.02)
    assert abs(int(np.argmax(cfc_filter(pulse, 62500, 180))) - int(np.argmax(pulse))) <= 1


def test_missing_samples_stay_missing_and_reach_nobody():
    values = half_sine(100.0, 0.02)
    values[5000:5100] = np.nan
    out = cfc_filter(values, 62500, 180)
    assert np.isnan(out[5000:5100]).all()
    np.testing.assert_array_equal(out[:5000], cfc_filter(values[:5000], 62500, 180))
    assert finite_runs(values) == [(0, 5000), (5100, 62500)]


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ((np.zeros(9), 20_000, 100), "cfc"),
        ((np.zeros(9), 2 * CORNER_PER_CLASS * 600, 600), "sample_rate_hz"),
        ((np.zeros((9, 2)), 20_000, 600), "axis"),
    ],
)
def test_wrong_arguments(arguments, word):
    with pytest.raises(ValueError, match=word):
        cfc_filter(*arguments)


@pytest.mark.parametrize(
    ("rate_hz", "cfc"), [(599, None), (600, 60), (1800, 180), (9999, 600), (1e6, 1000)]
)
def test_highest_class(rate_hz, cfc):
    """Sampling at least 10 times the class (SAE J211-1)."""
    assert highest_class_for(rate_hz) == cfc


def test_design_is_scipys():
    sections = butter(2, 2.0775 * 180, fs=10_000)
    assert sections[0][0] == pytest.approx(J211[1][2], rel=1e-12)
