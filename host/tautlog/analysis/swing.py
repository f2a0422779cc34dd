"""Swing: whether a force without a contact is at rest, or something that is no pull."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tautlog.model.limits import SIGMA_PER_MAD

FloatArray = npt.NDArray[np.float64]

# White noise spans some 9 of its standard deviations in 100 000 samples; own choice.
NOISE_SPAN = 12.0
# Where no mass is known; else twice the sled's weight, which is no pull either; own choice.
LEAST_N, LEAST_WEIGHTS = 50.0, 2.0


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
    # From sample to sample only noise differs; the median keeps a pull out of it.
    steps_n = np.diff(force_n[np.isfinite(force_n)])
    noise_n = (
        SIGMA_PER_MAD * float(np.median(np.abs(steps_n))) / np.sqrt(2.0) if steps_n.size else 0.0
    )
    least_n = LEAST_N if not weight_n else LEAST_WEIGHTS * weight_n
    return span_n if span_n > max(NOISE_SPAN * noise_n, least_n) else None
