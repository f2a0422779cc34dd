"""Release edge: how slow an amplifier may have been, by the fall of the force at slack.

A line only pulls. What an amplifier of one pole makes of a force that is never below zero
falls no faster than its own discharge: from y1 to y2 it takes tau ln(y1 / y2) at the least.
How quickly the force fell therefore bounds tau from above, whatever the line did (closed form).
A trace bounds nothing else of it: a slow amplifier lowers the peak and leaves no other sign.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

LEVELS = (8.0, 16.0, 32.0, 64.0)  # of the noise, that the fall is timed to; own choice
OFF = 4.0  # of the noise, that a crossing may be off by; own choice
APART = 3.0  # between the two levels of a fall, as `find_contacts.slack_index` has them


def bandwidth_at_least_hz(
    even_n: FloatArray, rate_hz: float, peak: int, stop: int, noise_n: float
) -> float | None:
    """Least -3 dB bandwidth of one pole that the fall from the peak allows; None if not told.

    Parameters
    ----------
    even_n : ndarray of float64, shape (n_samples,)
        Lightly smoothed, zero removed.
    rate_hz : float
        Samples per second.
    peak, stop : int
        Samples of the peak, and to which is looked.
    noise_n : float
        Rms of `even_n` on a slack line, counts included.
    """
    falling = even_n[peak:stop]
    found = [
        tau
        for level in LEVELS
        if (tau := _tau_s(falling, rate_hz, level * noise_n, noise_n)) is not None
    ]
    return 1.0 / (2.0 * math.pi * min(found)) if found else None


def _tau_s(falling: FloatArray, rate_hz: float, low_n: float, noise_n: float) -> float | None:
    under = np.flatnonzero(falling < low_n)
    above = np.flatnonzero(falling[: int(under[0])] >= APART * low_n) if under.size else under
    if not above.size:
        return None
    # As if noise had made the fall look as quick as it can.
    ratio = (APART * low_n - OFF * noise_n) / (low_n + OFF * noise_n)
    return int(under[0] - above[-1]) / rate_hz / math.log(ratio)
