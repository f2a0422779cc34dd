"""Stillness: what swings or creeps is not still, whatever noise, hum and filter do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from tautlog.board.stillness import STEADY_V, agree, stillness_of

RATE_HZ = 62500.0
READING_S = 0.52
BETWEEN_S = 0.04
TIME_S = np.arange(int(READING_S * RATE_HZ)) / RATE_HZ


def noise_v(seed, rms_v, corner_hz):
    """Noise behind a filter with one pole; rms over all frequencies."""
    pole = np.exp(-2.0 * np.pi * corner_hz / RATE_HZ)
    white = np.random.default_rng(seed).normal(0.0, 1.0, TIME_S.size)
    return rms_v * np.sqrt(1.0 - pole * pole) * lfilter([1.0], [1.0, -pole], white)


def readings(signal, seed=1, rms_v=2e-3, corner_hz=10e3):
    """Three readings, one after another, of what `signal` gives over time."""
    starts_s = [n * (READING_S + BETWEEN_S) for n in range(3)]
    volts = [
        signal(start + TIME_S) + noise_v(seed + n, rms_v, corner_hz)
        for n, start in enumerate(starts_s)
    ]
    return volts, [stillness_of(volt, RATE_HZ) for volt in volts]


@pytest.mark.parametrize("corner_hz", [500.0, 2e3, 10e3, 25e3])
@pytest.mark.parametrize("rms_v", [0.0, 2e-4, 2e-3, 2e-2])
@pytest.mark.parametrize("hum_hz", [50.0, 60.0])
def test_what_hangs_still_is_still(corner_hz, rms_v, hum_hz):
    for seed in range(20):
        hum = 5e-3 * np.sin(2.0 * np.pi * hum_hz * TIME_S + seed)
        _, seen = readings(lambda time, hum=hum: 0.9 + hum + 0.0 * time, seed, rms_v, corner_hz)
        assert agree(seen), (seed, [one.parts_v for one in seen])


@given(
    hz=st.floats(0.3, 30.0),
    phase=st.floats(0.0, 6.3),
    swing_v=st.floats(0.002, 0.5),
    decay_s=st.floats(0.5, 60.0),
    rms_v=st.floats(0.0, 5e-3),
)
def test_a_swing_that_is_taken_for_still_has_no_weight(hz, phase, swing_v, decay_s, rms_v):
    """What agrees has the mean of what hangs: the swing noise of its own loosens nothing."""

    def signal(time_s):
        swing = swing_v * np.exp(-time_s / decay_s) * np.cos(2.0 * np.pi * hz * time_s + phase)
        return 1.0 + swing

    volts, seen = readings(signal, rms_v=rms_v)
    scatter_v = min(one.scatter_v for one in seen)
    if agree(seen):
        assert np.mean(volts) == pytest.approx(1.0, abs=max(scatter_v, STEADY_V) + 5e-3 * rms_v)


@pytest.mark.parametrize("creep_v_per_s", [3e-3, -3e-3, 0.1])
def test_what_creeps_is_not_still(creep_v_per_s):
    _, seen = readings(lambda time_s: 1.0 + creep_v_per_s * time_s)
    assert not agree(seen)


@pytest.mark.parametrize("n", [1, 2, 7, 100])
def test_a_short_reading_has_one_part(n):
    seen = stillness_of(np.linspace(0.0, 1.0, n), RATE_HZ)
    assert seen.parts_v == pytest.approx((np.linspace(0.0, 1.0, n).mean(),))


def test_scatter_of_white_noise_is_that_of_its_means():
    volts = np.random.default_rng(3).normal(0.0, 2e-3, 40 * TIME_S.size)
    assert stillness_of(volts, RATE_HZ).scatter_v == pytest.approx(2e-3 / np.sqrt(62.5), rel=0.05)
