"""Stage 5 of marking, the ring: whether cell and fittings swing, and the force without that.

A mean over one period of the ring has none of it. Taken twice it keeps the rise and fall of
the pull, so that what rips and what swings can be told apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from tautlog.analysis.ringing import find_ring
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Wholeness
from tautlog.model.limits import LEAST_FLIGHT_S

FloatArray = npt.NDArray[np.float64]

SETTLED_S = 0.001  # after slack: what is left of the pull is over; own choice
BEFORE_NEXT_S = 0.005  # before the next pull: its onset is not exact; own choice


@dataclass(frozen=True)
class RingTold:
    """What rings; figures as in `marks.Marks`.

    Attributes
    ----------
    calm_n : ndarray of float64, shape (n_samples,)
        The smoothed force without the ring; just that where nothing rings.
    slack_seen : bool
        The line was seen slack after the pull, so that a ring would have been seen.
    """

    calm_n: FloatArray
    slack_seen: bool = False
    fixture_hz: float | None = None
    ring_peak_n: float | None = None


def tell_ring(pull: Measured, whole: Wholeness) -> RingTold:
    """Tell the ring of a pull that was seen whole, while the line is slack after it."""
    if not whole.seen_whole or pull.signal.dead is not None or pull.loss is not None:
        return RingTold(pull.even_n)
    free = _free_swing(pull)
    if free is None:
        return RingTold(pull.even_n)
    ring = find_ring(pull.force_n[free], pull.rate_hz, pull.noise_n)
    if ring is None:
        return RingTold(pull.even_n, slack_seen=True)
    period = max(round(pull.rate_hz / ring.hz), 1)
    calm_top_n = float(_calm(pull.pulse_n, period)[pull.contact.start : pull.contact.stop].max())
    return RingTold(
        _calm(pull.even_n, period),
        slack_seen=True,
        fixture_hz=ring.hz,
        ring_peak_n=max(pull.top_n - calm_top_n, 0.0),
    )


def _calm(force_n: FloatArray, period: int) -> FloatArray:
    """Force without what swings in that many samples; a bow of it is kept to second order."""
    mean_n = uniform_filter1d(force_n, period, mode="nearest")
    return np.asarray(2.0 * mean_n - uniform_filter1d(mean_n, period, mode="nearest"), np.float64)


def _free_swing(pull: Measured) -> slice | None:
    """Samples in which the line is slack after the pull; None where there are none."""
    if pull.slack is None:
        return None
    rate = pull.rate_hz
    start = max(int(pull.slack), pull.contact.stop) + int(SETTLED_S * rate)
    following = next(
        (contact.start for contact in pull.later if contact.start > start + LEAST_FLIGHT_S * rate),
        pull.force_n.size,
    )
    stop = int(following - BEFORE_NEXT_S * rate)
    return slice(start, stop) if stop > start else None
