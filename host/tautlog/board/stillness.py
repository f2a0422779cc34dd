"""Stillness: whether a channel at rest reads one level, or something still swings or creeps.

The noise of a reading cannot tell: a weight that swings makes noise of its own. Two figures can.
Means over a tenth of a second, in which mains hum of 50 and 60 Hz cancels, follow whatever
swings. The scatter of means over a millisecond, taken from their successive differences, hardly
knows of it: a swing of 5 Hz gives it 0.016 of its amplitude.

Successive differences: J. von Neumann, R. H. Kent, H. R. Bellinson and B. I. Hart, The mean square
successive difference, Annals of Mathematical Statistics 12 (1941) 153.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PART_S = 0.1  # five periods of 50 Hz, six of 60 Hz
SHORT_S = 1e-3
STEADY_SCATTERS = 1.0  # white noise spreads fifteen parts over 0.4 of it
STEADY_V = 2e-4  # for a chain without noise


@dataclass(frozen=True)
class Stillness:
    """What one reading of a channel tells about its own stillness.

    Attributes
    ----------
    parts_v : tuple of float
        Means over `PART_S`, in order.
    scatter_v : float
        Rms scatter of means over `SHORT_S`, without what changes slowly.
    """

    parts_v: tuple[float, ...]
    scatter_v: float = 0.0


def stillness_of(volts: npt.ArrayLike, sample_rate_hz: float) -> Stillness:
    """Stillness of one reading.

    Parameters
    ----------
    volts : array_like of float, shape (n_samples,)
        The reading, at the converter.
    sample_rate_hz : float
        Its sampling rate.
    """
    levels_v = np.asarray(volts, np.float64)
    short_v = _means(levels_v, round(SHORT_S * sample_rate_hz))
    scatter_v = math.sqrt(np.mean(np.diff(short_v) ** 2) / 2.0) if short_v.size > 1 else 0.0
    parts_v = _means(levels_v, round(PART_S * sample_rate_hz))
    return Stillness(tuple(parts_v.tolist()), scatter_v)


def agree(readings: Iterable[Stillness]) -> bool:
    """Whether readings show one level, neither swinging nor creeping."""
    seen = list(readings)
    parts_v = [part for one in seen for part in one.parts_v]
    scatter_v = min(one.scatter_v for one in seen)
    return float(np.ptp(parts_v)) <= max(STEADY_SCATTERS * scatter_v, STEADY_V)


def _means(values: npt.NDArray[np.float64], size: int) -> npt.NDArray[np.float64]:
    """Means of as many whole pieces as there are; of everything, if there is none."""
    size = min(max(size, 1), values.size)
    whole = values.size // size
    return np.asarray(values[: whole * size].reshape(whole, size).mean(axis=1), np.float64)
