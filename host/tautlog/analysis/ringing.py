"""Fixture: what rings between the line and the cell.

The cell, its fittings and the beam that carries them swing together. Where the line is slack
the cell shows them alone, ringing out: a damped swing about zero. How much of the swinging
mass lies between line and cell a trace does not tell, so that a line's force is told only
where nothing swings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 40.0, 1200.0
LONGEST_S = 0.2  # of a ring that is looked at
LEAST_PERIODS = 6.0
LEAST_SIGMAS = 3.0  # amplitude at the start, over the noise of one sample
WORST_LEFT = 0.5  # rms of what a fit leaves, over the rms of the ring: else it is no single one
MOST_DAMPING = 0.2


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
    if amplitude < LEAST_SIGMAS * noise_n or left_rms > max(WORST_LEFT * ring_rms, 1.5 * noise_n):
        return None
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * left_rms**2
    hz_u, damping_u = np.sqrt(np.diag(covariance))
    return Ring(float(found.x[0]), float(found.x[1]), float(hz_u), float(damping_u))


def _left(p: FloatArray, time_s: FloatArray, piece: FloatArray) -> tuple[FloatArray, float]:
    """What the best swing of a frequency and damping leaves, and its amplitude at the start."""
    omega = 2.0 * math.pi * p[0]
    decay = np.exp(-p[1] * omega * time_s)
    swing = omega * math.sqrt(1.0 - p[1] ** 2) * time_s
    columns = np.stack([decay * np.cos(swing), decay * np.sin(swing)], axis=1)
    solution, *_ = np.linalg.lstsq(columns, piece, rcond=None)
    return np.asarray(piece - columns @ solution, np.float64), float(np.hypot(*solution))
