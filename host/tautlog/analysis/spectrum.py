"""Shock response spectrum: how single oscillators would answer to a pulse.

The ramp-invariant recursive filter of ISO 18431-4 (D. O. Smallwood, 51st Shock and
Vibration Bulletin, 1980), for absolute acceleration. Between samples the input is
taken as straight, and the largest response is taken at samples: both cost 5e-4 at
ten times the highest frequency (tests).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tautlog.model.limits import QUASI_STATIC_FACTOR

FloatArray = npt.NDArray[np.float64]

QUALITY = 10.0  # amplification at resonance; the usual choice (ISO 18431-4)
# Of parts that people build, 6.8 to an octave; own choice.
LOWEST_HZ, HIGHEST_HZ, POINTS = 5.0, 2000.0, 60


def response_spectrum(
    pulse: FloatArray, sample_rate_hz: float, frequencies_hz: FloatArray, quality: float = QUALITY
) -> FloatArray:
    """Largest absolute response of an oscillator at each frequency, in the pulse's unit.

    Parameters
    ----------
    pulse : ndarray of float64, shape (n_samples,)
        Begins and ends at rest. What follows it is computed for one period.
    sample_rate_hz : float
        Samples per second.
    frequencies_hz : ndarray of float64, shape (n,)
        Natural frequencies, above zero and below half the rate.
    quality : float
        Q; infinity for no damping.

    Returns
    -------
    ndarray of float64, shape (n,)
        The larger of the largest positive and negative response ("maximax").

    Raises
    ------
    ValueError
        If a frequency or the quality is out of its range.
    """
    frequencies = np.asarray(frequencies_hz, dtype=float)
    if frequencies.size and not (
        frequencies.min() > 0 and frequencies.max() < 0.5 * sample_rate_hz
    ):
        raise ValueError(f"frequencies must lie between 0 and {0.5 * sample_rate_hz:g} Hz")
    if not quality > 0.5:
        raise ValueError(f"`quality` must be above 0.5, was {quality!r}")
    return np.array(
        [_largest(pulse, sample_rate_hz, natural_hz, quality) for natural_hz in frequencies]
    )


def _largest(pulse: FloatArray, rate_hz: float, natural_hz: float, quality: float) -> float:
    from scipy.signal import lfilter  # late: see `filters`

    period = np.zeros(int(np.ceil(rate_hz / natural_hz)) + 1)
    numerator, denominator = _filter(natural_hz / rate_hz, 0.5 / quality)
    response = lfilter(numerator, denominator, np.concatenate([pulse, period]))
    return float(np.abs(response).max())


def _filter(cycles_a_sample: float, damping_ratio: float) -> tuple[list[float], list[float]]:
    """Coefficients of the ramp-invariant filter, as in ISO 18431-4."""
    omega = 2.0 * np.pi * cycles_a_sample
    damped = omega * np.sqrt(1.0 - damping_ratio**2)
    decay = np.exp(-damping_ratio * omega)
    cosine, sine = decay * np.cos(damped), decay * np.sin(damped)
    ratio = sine / damped
    return (
        [1.0 - ratio, 2.0 * (ratio - cosine), decay**2 - ratio],
        [1.0, -2.0 * cosine, decay**2],
    )


def quasi_static_above_hz(pulse: FloatArray, sample_rate_hz: float) -> float | None:
    """Frequency from which on every part sees a pulse as a static load.

    Parameters
    ----------
    pulse : ndarray of float64, shape (n_samples,)
        One contact, from nothing to nothing.
    sample_rate_hz : float
        Samples per second.

    Returns
    -------
    float or None
        Lowest of 60 frequencies, evenly spaced by ratio from 5 to 2000 Hz and at most a tenth of
        the rate, above which no oscillator of Q = 10 answers with more than 1.1 times the
        peak; None where there is none.
    """
    highest = min(HIGHEST_HZ, 0.1 * sample_rate_hz)
    peak = float(np.abs(pulse).max()) if pulse.size else 0.0
    if highest <= LOWEST_HZ or peak <= 0.0:
        return None
    frequencies = np.geomspace(LOWEST_HZ, highest, POINTS)
    more = response_spectrum(pulse, sample_rate_hz, frequencies) > QUASI_STATIC_FACTOR * peak
    above = np.flatnonzero(more)
    first = int(above[-1]) + 1 if above.size else 0
    return float(frequencies[first]) if first < POINTS else None
