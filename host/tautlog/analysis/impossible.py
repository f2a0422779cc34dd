"""Impossible: what a sled of that mass, dropped from that height, cannot have done.

Each function looks at one impossibility and says it in words with figures, or returns
None. Momentum bounds what a force can be even where no rebound closes the balance; a fall
cannot be shorter than a free one; and a force that no motion of the sled explains is no pull
of the line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.model.free_fall import free_fall_s
from tautlog.model.limits import FALL_CLOCK_S, REBOUND_MOST

FloatArray = npt.NDArray[np.float64]

# Shares of the speed of the fall. Upwards, beyond `limits.REBOUND_MOST`: a wrong unit or mass;
# common practice.
IMPOSSIBLE = 1.3
# Left downwards when the line went slack, where momentum alone would leave nothing; own choice:
# what gain and mass may be off, and what only a stop or a wrong unit explains.
TOO_SMALL, IMPOSSIBLY_SMALL = 0.15, 0.5
HEIGHT_OFF = 0.08  # logarithm; own simulation: what is right comes out within 7 %
FALL_SHORT = 0.975  # of the time of a free fall: a height that is 5 % too large; own choice
PULSE_S = 0.0025  # half of what a burst of 2 ms is wide in class 180
LEAST_PULL_S = 6.0 * PULSE_S  # shorter pulls may have a top as narrow as that; own choice
# Of the pull beside a burst that a cubic is laid through: time, or share of the pull; own choice.
FIT_S, FIT_SHARE = 0.006, 0.15
LEAST_FIT = 8  # samples: twice what the cubic has of coefficients
BURST, BURST_SIGMAS = 0.05, 6.0  # above it, of the peak; of noise and of what it leaves; own choice


@dataclass(frozen=True)
class Doubt:
    """A code and plain words, as a finding."""

    code: str
    text: str


def of_momentum(speed_m_s: FloatArray, taut_speed_m_s: float, *, went_slack: bool) -> Doubt | None:
    """Judge the speed that the force leaves to the sled, positive downwards.

    Parameters
    ----------
    speed_m_s : ndarray of float64, shape (n_samples,)
        Over the pull, from g - F/m.
    taut_speed_m_s : float
        When the line came taut.
    went_slack : bool
        The pull ended, and nothing parted.
    """
    highest = -float(speed_m_s.min()) / taut_speed_m_s
    if highest > REBOUND_MOST:
        code = "impulse-impossible" if highest > IMPOSSIBLE else "impulse-too-large"
        return Doubt(
            code,
            f"by its impulse the force threw the sled up {highest:.3g} times as fast as it fell: "
            "no line can; gain, unit, mass or height is wrong",
        )
    left = float(speed_m_s[-1]) / taut_speed_m_s
    if went_slack and left > TOO_SMALL:
        code = "impulse-impossible" if left > IMPOSSIBLY_SMALL else "impulse-too-small"
        return Doubt(
            code,
            f"when the line went slack the sled had {100 * left:.0f} % of its downward speed left: "
            "a stop took it, or gain, unit or mass is wrong",
        )
    return None


def of_height(height_m: float, fall_s: float | None, estimated_m: float | None) -> Doubt | None:
    """Judge a height by the time of the fall, and by what all else of the drop agrees with."""
    if fall_s is not None:
        free_s = free_fall_s(height_m)
        if fall_s < FALL_SHORT * free_s - FALL_CLOCK_S:
            return Doubt(
                "height-off",
                f"the fall took {1000 * fall_s:.0f} ms, a free one from {height_m:g} m takes "
                f"{1000 * free_s:.0f} ms: it was less high, or the release came earlier",
            )
    if estimated_m is None or abs(math.log(estimated_m / height_m)) <= HEIGHT_OFF:
        return None
    return Doubt(
        "height-off",
        f"fall time, pulls and flights agree best with a free travel of {estimated_m:.3f} m, "
        f"{height_m:g} m was entered: measure the slack line again",
    )


def of_burst(
    force_n: FloatArray, rate_hz: float, start: int, stop: int, peak: int, noise_n: float
) -> Doubt | None:
    """Judge a peak that stands alone on its pull.

    At its peak the sled stands still or nearly so, and the force of a line, which follows
    stretch and speed, is flat there: within some milliseconds it is a parabola. What
    stands far above one laid through both sides, and has no width, has no impulse either.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        In its class.
    rate_hz : float
        Samples per second.
    start, stop, peak : int
        Samples of onset and slack, and of the peak.
    noise_n : float
        Rms of a slack line in the class.
    """
    beside = int(max(FIT_S, FIT_SHARE * (stop - start) / rate_hz) * rate_hz)
    gap = int(PULSE_S * rate_hz)
    low, high = max(peak - gap - beside, start), min(peak + gap + beside, stop)
    if (stop - start) < LEAST_PULL_S * rate_hz or peak - gap <= low or peak + gap >= high:
        return None
    place = np.concatenate([np.arange(low, peak - gap), np.arange(peak + gap, high)])
    if place.size < LEAST_FIT:
        return None
    x = (place - peak) / beside
    fitted = np.polynomial.Polynomial.fit(x, force_n[place], 3)
    rms = float(np.sqrt(np.mean((fitted(x) - force_n[place]) ** 2)))
    top = float(force_n[peak])
    above = top - float(fitted(0.0))
    if above < max(BURST * top, BURST_SIGMAS * max(noise_n, rms)):
        return None
    return Doubt(
        "burst",
        f"the peak stands {above:.0f} N above its own pull for a few milliseconds: no motion of "
        "the sled makes that, look for a coil, a connector or a blow",
    )
