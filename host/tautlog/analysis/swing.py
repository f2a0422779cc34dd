"""Swing: whether a force without a contact is at rest, or something that is no pull."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Own choices. White noise spans some 9 of its standard deviations in 100 000 samples.
NOISE_SPAN = 12.0
LEAST_N = 50.0  # where no mass is known; else twice the sled's weight, which is no pull either


def odd_swing_n(
    filtered_n: FloatArray, force_n: FloatArray, weight_n: float | None
) -> float | None:
    """Span of a force that is not at rest, or None for one that is.

    Parameters
    ----------
    filtered_n, force_n : ndarray of float64, shape (n_samples,)
        In the class, and as it came; zero need not be removed.
    weight_n : float or None
        Weight of the sled.
    """
    if filtered_n.size < 3 or not np.isfinite(filtered_n).any():
        return None
    span_n = float(np.nanmax(filtered_n) - np.nanmin(filtered_n))
    # From sample to sample only noise differs; 1.4826 MAD is the deviation of a normal one.
    steps_n = np.diff(force_n[np.isfinite(force_n)])
    noise_n = 1.4826 * float(np.median(np.abs(steps_n))) / np.sqrt(2.0) if steps_n.size else 0.0
    least_n = LEAST_N if not weight_n else 2.0 * weight_n
    return span_n if span_n > max(NOISE_SPAN * noise_n, least_n) else None
