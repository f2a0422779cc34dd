"""Resolution: the step that the values of a trace were rounded to, where nobody stated it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

MOST_LEVELS = 4096  # of a trace that tells its step by itself: twelve bits; own choice
LEAST_LEVELS = 8  # fewer are no steps; own choice
MOST_COUNTS = 2**24  # between two levels: no converter has more; own choice
EVEN = 1e-3  # of a step, that levels may be off its multiples; own choice


def step_of(force_n: FloatArray) -> float:
    """Force of one step, by the levels that the samples have; 0 where they tell none.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        As it came, NaN where a sample is missing.

    Notes
    -----
    All levels are multiples of the smallest distance between two of them. The levels of a trace
    that was not rounded are as many as its samples.
    """
    levels = np.unique(force_n[np.isfinite(force_n)])
    if not LEAST_LEVELS <= levels.size <= MOST_LEVELS or 2 * levels.size > force_n.size:
        return 0.0
    apart_n = np.diff(levels)
    step_n = float(apart_n.min())
    if step_n * MOST_COUNTS < float(apart_n.max()):
        return 0.0
    off = np.abs(apart_n / step_n - np.round(apart_n / step_n))
    return step_n if float(off.max()) < EVEN else 0.0
