"""Slip: whether the line came out of the first pull longer than it went in.

One pull does not tell. A damped line lets go while it is still stretched, by up to half of
its largest stretch, and so does one that has slipped. The second pull does tell: the same
line is stretched again, mostly with less force than made it slip. A line that only loses
energy, by a damper, a creeping part or strands that rub, loses the same share of speed
and keeps the same share of stretch each time, whatever the amplitude: exactly, where it is
linear and weight is small against the force. A line that slips once loses more speed and
keeps more stretch the first time.

The path of the force tells, too: k x (1 + b x**2) + c x' follows the whole pull of a line
that holds, and not one that falls, stays or rises again at a slip.

Both differences are free of gain and mass, which act on both pulls alike. What remains
is the speed of the first fall: it lies between what fall time and height say together and
what the height alone says, and a verdict must hold for both. Limits are from 400 drops of
ten models of lines that share nothing with this program (tests/benchmarks/independent).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from tautlog.analysis.bounces import Pull
from tautlog.analysis.ringing import swings_after
from tautlog.analysis.stretch import Stretch, motion
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

FloatArray = npt.NDArray[np.float64]

# Thresholds that name no other basis are from a fit on those 400 drops.
SPEED_WORTH = 2.0  # of a share of speed, in shares of stretch: where both tell alike
HELD_MOST, SLIPPED_LEAST = 0.085, 0.15  # two pulls and both flights
# A fixture that rings moves the line's end, and what it takes up is lost to the rebound.
SLIPPED_RINGING = 0.3
SLIPPED_LEAST_ALONE = 0.2  # by the stretch of two pulls, without a second flight
FLAT_LEAST_LOST = 0.04  # share of speed, where the force's top is cut off and tells no stretch
WELL_FITTED = 0.014  # rms that the fit leaves, of the peak: slips of a tenth left 2 % and more
# Nineteen of twenty lines that hold do not have all three.
BADLY_FITTED, MUCH_LEFT, CLEARLY_NONE = 0.025, 0.3, -0.02
HELD_MOST_LEFT, SLIPPED_LEAST_LEFT = 0.1, 0.6  # one pull: less is no slip, no damper leaves more
# A part that slides as long as it is pulled: of the stretch; rms that it leaves beyond noise, of
# the peak, and of what a damper leaves. Lines that creep and recover lie above the last.
SLID_LEAST, SLID_FITTED, SLID_BETTER = 0.1, 0.002, 0.5
SLID_NOISE = 1.1  # times the noise, that a fit may leave of it; own choice
LEAST_SAMPLES = 8  # of a pull that is integrated; own choice
SHORTEST_FLIGHT_S = 0.02  # its clock is good to 2 % (`limits.ONSET_U_S`, twice); own choice
# Of the speed, where no fall time tells it: rails of 8 % of the weight; common practice.
UNKNOWN_FRICTION = 0.04

HELD, SLIPPED, UNCLEAR = "held", "slipped", "unclear"


@dataclass(frozen=True)
class Fall:
    """Bounds of the downward speed at which the line first came taut, in m/s."""

    least_m_s: float
    most_m_s: float


def fall_between(
    taut_speed_m_s: float, height_m: float | None, fall_s: float | None, delay_s: float
) -> Fall:
    """Bounds of the speed at onset.

    Parameters
    ----------
    taut_speed_m_s : float
        By what is known best; of rails that rub it is the most.
    height_m, fall_s : float or None
        Free travel; from release switch to onset.
    delay_s : float
        From the switch to the real release, where the drop tells it.

    Notes
    -----
    A fall with any constant friction takes t = 2 h / v. A latch that was late by a little
    more makes that speed too small.
    """
    least = taut_speed_m_s * (1.0 - UNKNOWN_FRICTION)
    if height_m is not None and fall_s is not None and fall_s > delay_s:
        least = min(2.0 * height_m / (fall_s - delay_s), taut_speed_m_s)
    return Fall(least, taut_speed_m_s)


@dataclass(frozen=True)
class Remainder:
    """Stretch at slack over the largest stretch, of one pull."""

    share: float
    largest_m: float


def remainder(
    force_n: FloatArray, rate_hz: float, pull: Pull, mass_kg: float, speed_in_m_s: float
) -> Remainder | None:
    """What a pull leaves, by integrating g - F/m twice from its onset; None if not told."""
    onset = pull.onset_s * rate_hz
    first = int(np.ceil(onset))
    force = force_n[first : int(pull.slack_s * rate_hz) + 1]
    if force.size < LEAST_SAMPLES:
        return None
    way_m, _ = motion(force, rate_hz, (first - onset) / rate_hz, mass_kg, speed_in_m_s)
    largest_m = float(way_m.max())
    return Remainder(float(way_m[-1]) / largest_m, largest_m) if largest_m > 0.0 else None


def tell(
    force_n: FloatArray,
    rate_hz: float,
    pulls: Sequence[Pull],
    mass_kg: float,
    fall: Fall,
    sure_share: float,
    misfit: float | None,
) -> str:
    """Return whether a line held, slipped by a tenth of its stretch or more, or neither.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Zero removed, positive in the pulls.
    rate_hz, mass_kg : float
        Samples per second; moving mass.
    pulls : sequence of Pull
        In order, the drop's own first.
    fall : Fall
        Speed at the first onset.
    sure_share : float
        Expanded uncertainty of the stretch at slack, over the largest.
    misfit : float or None
        What `stretch.force_over_stretch` left of the first pull.
    """
    told = _by_pulls(force_n, rate_hz, pulls, mass_kg, fall, sure_share)
    if misfit is None:
        return told
    if told == HELD and misfit > BADLY_FITTED:
        # Much is left at slack, and the force is none of a line with a damper.
        left = remainder(force_n, rate_hz, pulls[0], mass_kg, fall.least_m_s)
        much = left is None or left.share > MUCH_LEFT
        excess = _excess(force_n, rate_hz, pulls, mass_kg, fall.most_m_s)
        return UNCLEAR if much and (excess is None or excess > CLEARLY_NONE) else HELD
    if misfit > WELL_FITTED:
        return told
    # Two witnesses that differ: what yields softly may look like a line with a damper.
    return UNCLEAR if told == SLIPPED else HELD


def may_have_slid(stretch: Stretch, noise_share: float) -> bool:
    """Whether a part that slid by a tenth of the stretch, or more, explains all of the pull.

    It loses the same share in each pull, as a line's own loss does, so that no second pull tells.

    Parameters
    ----------
    stretch : Stretch
        Of the first pull.
    noise_share : float
        Rms of a sample's noise, of the peak.
    """
    share, left, without = stretch.slid_share, stretch.slid_misfit, stretch.misfit
    if share is None or left is None or without is None:
        return False
    at_noise = left < float(np.hypot(SLID_NOISE * noise_share, SLID_FITTED))
    return share > SLID_LEAST and at_noise and left < SLID_BETTER * without


def _by_pulls(
    force_n: FloatArray,
    rate_hz: float,
    pulls: Sequence[Pull],
    mass_kg: float,
    fall: Fall,
    sure_share: float,
) -> str:
    """What the pulls tell, without the path of the force in the first; see `tell`."""
    if not pulls:
        return UNCLEAR
    least, most = (
        _excess(force_n, rate_hz, pulls, mass_kg, speed)
        for speed in (fall.least_m_s, fall.most_m_s)
    )
    if least is None or most is None or len(pulls) < 3:
        told = _by_one_pull(force_n, rate_hz, pulls[0], mass_kg, fall, sure_share)
        # A second pull whose end nobody saw may show a slip, and never that there was none.
        alone = told == UNCLEAR and least is not None and least > SLIPPED_LEAST_ALONE
        return SLIPPED if alone else told
    if most < HELD_MOST:
        return HELD
    slipped = SLIPPED_RINGING if swings_after(force_n, rate_hz, pulls[0]) else SLIPPED_LEAST
    return SLIPPED if least > slipped else UNCLEAR


def _excess(
    force_n: FloatArray, rate_hz: float, pulls: Sequence[Pull], mass_kg: float, speed_in: float
) -> float | None:
    """How much more stretch and speed the first pull cost than the second, as shares."""
    if len(pulls) < 2:
        return None
    first, second = pulls[:2]
    flight_s = second.onset_s - first.slack_s
    if flight_s < SHORTEST_FLIGHT_S:
        return None
    speed_out = 0.5 * G * flight_s
    one = remainder(force_n, rate_hz, first, mass_kg, speed_in)
    two = remainder(force_n, rate_hz, second, mass_kg, speed_out)
    if one is None or two is None:
        return None
    more = speed_lost(pulls, speed_in)
    return one.share - two.share + (0.0 if more is None else SPEED_WORTH * more)


def speed_lost(pulls: Sequence[Pull], speed_in_m_s: float) -> float | None:
    """How much more of its speed the first pull cost than the second; None without flights.

    From the flights alone, which no gain, rail or yielding changes.
    """
    if len(pulls) < 3:
        return None
    flight_s, later_s = (after.onset_s - before.slack_s for before, after in pairwise(pulls[:3]))
    if flight_s < SHORTEST_FLIGHT_S:
        return None
    return later_s / flight_s - 0.5 * G * flight_s / speed_in_m_s


def _by_one_pull(
    force_n: FloatArray, rate_hz: float, pull: Pull, mass_kg: float, fall: Fall, sure_share: float
) -> str:
    """What a single pull tells: only the extremes."""
    least = remainder(force_n, rate_hz, pull, mass_kg, fall.least_m_s)
    most = remainder(force_n, rate_hz, pull, mass_kg, fall.most_m_s)
    if least is None or most is None:
        return UNCLEAR
    if most.share + sure_share < HELD_MOST_LEFT:
        return HELD
    return SLIPPED if least.share - sure_share > SLIPPED_LEAST_LEFT else UNCLEAR
