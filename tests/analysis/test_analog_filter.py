"""The analog filter: closed forms of RC and Butterworth responses, and scipy's beside them."""

import math

import numpy as np
import pytest
from scipy.signal import bessel, butter, freqs, lti

from tautlog.analysis.analog_filter import (
    CORRIDOR_DB,
    class_loss_db,
    judge_filter,
    loss_db,
    pole_hz,
)
from tautlog.analysis.filters import CLASSES, CORNER_PER_CLASS
from tautlog.planning.electronics_advice import Electrics, advise

FREQUENCIES_HZ = np.geomspace(10.0, 250e3, 40)


def rc_db(frequency_hz, corner_hz, stages):
    """Loss of equal, buffered RC stages by scipy: H = (w0 / (s + w0))**n."""
    w0 = 2.0 * np.pi * corner_hz
    system = lti([], [-w0] * stages, w0**stages)
    return -20.0 * np.log10(abs(system.freqresp(2.0 * np.pi * np.atleast_1d(frequency_hz))[1]))


@pytest.mark.parametrize("poles", [1, 2, 3, 6])
@pytest.mark.parametrize("bandwidth_hz", [60.0, 2000.0, 12e3])
def test_equal_poles_are_those_of_scipy(bandwidth_hz, poles):
    ours = [loss_db(one, bandwidth_hz, poles) for one in FREQUENCIES_HZ]
    theirs = rc_db(FREQUENCIES_HZ, pole_hz(bandwidth_hz, poles), poles)
    assert ours == pytest.approx(theirs, abs=1e-9)
    assert loss_db(bandwidth_hz, bandwidth_hz, poles) == pytest.approx(10 * math.log10(2))


@pytest.mark.parametrize("poles", [1, 2, 4, 8])
@pytest.mark.parametrize("design", ["butterworth", "bessel"])
def test_no_usual_filter_is_worse_than_equal_poles(design, poles):
    """Of the same -3 dB: none droops more before it, none keeps out less beyond it."""
    bandwidth_hz = 2000.0
    w = 2.0 * np.pi * bandwidth_hz
    if design == "butterworth":
        b, a = butter(poles, w, analog=True)
    else:
        b, a = bessel(poles, w, analog=True, norm="mag")
    theirs = -20.0 * np.log10(abs(freqs(b, a, 2.0 * np.pi * FREQUENCIES_HZ)[1]))
    for bound in (poles, 1, 0):  # one pole bounds all, and what nobody stated
        ours = np.array([loss_db(one, bandwidth_hz, bound) for one in FREQUENCIES_HZ])
        before = bandwidth_hz > FREQUENCIES_HZ
        assert (ours[before] >= theirs[before] - 1e-9).all()
        assert (ours[~before] <= theirs[~before] + 1e-9).all()


def test_the_closed_forms_by_hand():
    """RC: 10 lg (1 + 125**2); Butterworth of n poles: 10 lg (1 + x**2n), by scipy as well."""
    assert loss_db(250e3, 2000.0, 1) == pytest.approx(10.0 * math.log10(15626.0))
    b, a = butter(2, 2.0 * np.pi * 2000.0, analog=True)
    [theirs] = -20.0 * np.log10(abs(freqs(b, a, [2.0 * np.pi * 250e3])[1]))
    assert theirs == pytest.approx(10.0 * math.log10(1.0 + 125.0**4), rel=1e-9)
    # Two equal poles: (1 + 0.41421 x**2)**2.
    by_hand = 20.0 * math.log10(1.0 + (math.sqrt(2.0) - 1.0) * 125.0**2)
    assert loss_db(250e3, 2000.0, 2) == pytest.approx(by_hand)
    assert by_hand < theirs


@pytest.mark.parametrize("cfc", CLASSES)
def test_the_class_filter_is_two_passes_of_scipys(cfc):
    b, a = butter(2, 2.0 * np.pi * CORNER_PER_CLASS * cfc, analog=True)
    for times, most in CORRIDOR_DB:
        [once] = -20.0 * np.log10(abs(freqs(b, a, [2.0 * np.pi * cfc * times])[1]))
        assert class_loss_db(times) == pytest.approx(2.0 * once)
        assert class_loss_db(times) < most  # the class itself lies in its corridor


@pytest.mark.parametrize(
    ("bandwidth_hz", "poles", "cfc", "flat", "keeps_out"),
    [
        # 10 lg (1 + (180/f)**2) = 0.546 dB at f = 492 Hz; (300/f)**2 of 0.990 dB at 593 Hz.
        (60.0, 1, 180, False, True),
        (592.0, 1, 180, False, True),
        (594.0, 1, 180, True, True),
        (2000.0, 0, 180, True, True),
        (12_000.0, 0, 180, True, False),  # 26.4 dB
        (12_000.0, 1, 180, True, False),
        (12_000.0, 2, 180, True, True),  # 45 dB
        (2_600.0, 1, 1000, False, False),
        (4_000.0, 1, 1000, True, False),
        (4_000.0, 2, 1000, True, True),
    ],
)
def test_what_holds(bandwidth_hz, poles, cfc, flat, keeps_out):
    found = judge_filter(bandwidth_hz, poles, 500e3, cfc)
    assert (found.flat, found.keeps_out) == (flat, keeps_out)
    assert ("filter_poles" in found.text) == (not poles and not (flat and keeps_out))


def test_a_plan_lets_neither_60_hz_nor_12_khz_hold():
    """A pulse of 60 ms needs 50 Hz, by which both did hold."""

    def holds(**stated):
        checks = {one.code: one for one in advise(Electrics(**stated), 3000.0, 0.060)}
        return checks["anti-alias"].holds

    assert not holds(bandwidth_hz=60.0)
    assert not holds(bandwidth_hz=60.0, filter_poles=1)
    assert not holds(bandwidth_hz=12_000.0)
    assert not holds(bandwidth_hz=12_000.0, filter_poles=1)
    assert holds(bandwidth_hz=1_000.0)
    assert holds(bandwidth_hz=12_000.0, filter_poles=2)
    # The conversion folds, not what is stored.
    assert not holds(bandwidth_hz=12_000.0, filter_poles=2, conversion_rate_hz=62_500.0)


def test_fewer_conversions_keep_out_less():
    kept = judge_filter(2000.0, 1, 500e3, 180)
    for rate_hz in (250e3, 125e3, 62.5e3):
        fewer = judge_filter(2000.0, 1, rate_hz, 180)
        assert fewer.attenuation_db < kept.attenuation_db
        assert fewer.droop_db == kept.droop_db
        kept = fewer
