"""Ringing: what swings at the cell while the line carries nothing.

The cell, its fittings and the beam that carries them swing together. Where the line is slack
the cell shows them alone. Three questions are asked of that swing, and no answer serves for
another: what its frequency is, told where it is a single damped one (`find_ring`); whether a
fixture took so much of a pull that the line cannot be judged by what is lacking
(`swings_after`); how far the beam springs back after a break (`ring_after`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from tautlog.analysis.bounces import Pull
from tautlog.model.limits import RING_LEAST_SIGMAS

FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 40.0, 1200.0  # of fixtures that people build; common practice
LONGEST_S = 0.2  # of a ring that is looked at: six periods of 40 Hz are 0.15 s
LEAST_PERIODS = 6.0  # that its damping is told from; own choice
# Rms of what a fit leaves, over that of the ring, or over the noise: else it is no single one;
# own choice.
WORST_LEFT, WORST_NOISE = 0.5, 1.5
MOST_DAMPING = 0.2  # more is no ring: a quarter is left after a period; own choice
# Periods after which a ring is looked at once more, and what a fit may leave then of all that
# is there: half of its power is the ring's (sqrt 1/2); own choice.
FIRST_PERIODS, STILL_LEFT = 2.0, 0.7
# After a pull, how long is looked at; how far it swings below zero and its rms, of the peak.
# From the fit that the limits of `slip` are from.
AFTER_PULL_S, SWING_LEAST, SWING_RMS, LEAST_SAMPLES = 0.04, 0.04, 0.004, 8
# After a break: when the fall is over, how long is looked at, and amplitude, of the peak and
# of the noise; own choice.
BREAK_OVER_S, AFTER_BREAK_S, RING_PEAK, RING_SIGMAS = 0.0015, 0.1, 0.02, 6.0
LEAST_RING_SAMPLES = 32  # of that: sixteen lines of a spectrum; own choice


@dataclass(frozen=True)
class Ring:
    """A fixture that rings.

    Attributes
    ----------
    hz, damping_ratio : float
        Of its free swing.
    hz_u, damping_u : float
        Standard uncertainties, from what the fit leaves.
    """

    hz: float
    damping_ratio: float
    hz_u: float
    damping_u: float


def find_ring(slack_n: FloatArray, rate_hz: float, noise_n: float) -> Ring | None:
    """Frequency and damping of what rings while the line is slack, or None.

    Parameters
    ----------
    slack_n : ndarray of float64, shape (n_samples,)
        Force of a slack line, zero removed, unfiltered.
    rate_hz : float
        Samples per second.
    noise_n : float
        Rms of one sample before anything rang.
    """
    piece = slack_n[: int(LONGEST_S * rate_hz)]
    if piece.size < LEAST_PERIODS * rate_hz / HIGHEST_HZ:
        return None
    piece = piece - piece.mean()
    size = 1 << int(np.ceil(np.log2(4 * piece.size)))
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(2 * piece.size)[piece.size :], size))
    frequency = np.fft.rfftfreq(size, 1.0 / rate_hz)
    lowest = max(LOWEST_HZ, LEAST_PERIODS * rate_hz / piece.size)
    seen = (frequency >= lowest) & (frequency <= min(HIGHEST_HZ, 0.2 * rate_hz))
    if not seen.any():
        return None
    start_hz = float(frequency[seen][int(np.argmax(spectrum[seen]))])
    time_s = np.arange(piece.size) / rate_hz

    def left(p: FloatArray) -> FloatArray:
        return _left(p, time_s, piece)[0]

    bounds = ([0.8 * start_hz, 0.001], [1.25 * start_hz, MOST_DAMPING])
    found = least_squares(left, [start_hz, 0.03], bounds=bounds, x_scale=[0.01 * start_hz, 0.01])
    residual, amplitude = _left(found.x, time_s, piece)
    ring_rms, left_rms = float(np.std(piece - residual)), float(np.std(residual))
    if amplitude < RING_LEAST_SIGMAS * noise_n or left_rms > max(
        WORST_LEFT * ring_rms, WORST_NOISE * noise_n
    ):
        return None
    if not _goes_on(piece, residual, float(found.x[0]), rate_hz):
        return None
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * left_rms**2
    hz_u, damping_u = np.sqrt(np.diag(covariance))
    return Ring(float(found.x[0]), float(found.x[1]), float(hz_u), float(damping_u))


def _goes_on(piece: FloatArray, residual: FloatArray, hz: float, rate_hz: float) -> bool:
    """Whether the swing is still there after its first periods: the end of a pull is not."""
    later = slice(int(FIRST_PERIODS * rate_hz / hz), int(LEAST_PERIODS * rate_hz / hz))
    swing = piece[later] - residual[later]
    if swing.size < LEAST_SAMPLES:
        return False
    # Both ways: a line that goes slack softly is no swing.
    there = float(np.std(residual[later])) < float(np.std(piece[later])) * STILL_LEFT
    return there and float(np.std(swing)) > 0.0


def _left(p: FloatArray, time_s: FloatArray, piece: FloatArray) -> tuple[FloatArray, float]:
    """What the best swing of a frequency and damping leaves, and its amplitude at the start."""
    omega = 2.0 * math.pi * p[0]
    decay = np.exp(-p[1] * omega * time_s)
    swing = omega * math.sqrt(1.0 - p[1] ** 2) * time_s
    columns = np.stack([decay * np.cos(swing), decay * np.sin(swing)], axis=1)
    solution, *_ = np.linalg.lstsq(columns, piece, rcond=None)
    return np.asarray(piece - columns @ solution, np.float64), float(np.hypot(*solution))


def swings_after(force_n: FloatArray, rate_hz: float, pull: Pull) -> bool:
    """Whether the cell still swings after a pull: what a fixture took, the line did not.

    Arguments as for `slip.tell`.
    """
    first, last = int(pull.onset_s * rate_hz), int(pull.slack_s * rate_hz)
    after = force_n[last : last + int(AFTER_PULL_S * rate_hz)]
    top = float(force_n[first : last + 1].max())
    if after.size < LEAST_SAMPLES:
        return False
    return float(after.min()) < -SWING_LEAST * top or float(after.std()) > SWING_RMS * top


def ring_after(
    force_n: FloatArray, rate_hz: float, broke: int, peak_n: float, noise_n: float
) -> tuple[float, float] | None:
    """Frequency and amplitude of a ringing after a loss of load, or None.

    The beam that the load bent springs back and shakes the fittings at the cell: this is
    no load that is left.
    """
    start = broke + int(BREAK_OVER_S * rate_hz)
    piece = force_n[start : start + int(AFTER_BREAK_S * rate_hz)]
    if piece.size < LEAST_RING_SAMPLES:
        return None
    amplitude = 0.5 * float(piece.max() - piece.min())
    if amplitude < max(RING_PEAK * peak_n, RING_SIGMAS * noise_n):
        return None
    spectrum = np.abs(np.fft.rfft((piece - piece.mean()) * np.hanning(piece.size)))
    best = int(np.argmax(spectrum[2:])) + 2
    return best * rate_hz / piece.size, amplitude
