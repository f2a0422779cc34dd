"""Loading: how quickly the contact rises, and how long it stays above stated levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS
from tautlog.analysis.find_contacts import rise_through
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import FORESHOOT_S, HIGH, LOW, Times, Wholeness
from tautlog.analysis.stage8_peak import Peak
from tautlog.model.limits import K_FACTOR, RISE_OF_FILTER
from tautlog.model.marks import AboveLevel, Marks
from tautlog.model.uncertainty import rectangular

SHARES = (0.5, 0.75, 0.9, 1.0)  # of the target; own choice
MOST_OWN = math.sqrt(0.5)  # of a rise: a filter with more of it may have made it; own choice


@dataclass(frozen=True)
class Loading:
    """Rate and durations; figures as in `marks.Marks`."""

    load_rate_n_per_s: float | None
    load_rate_expanded_u_n_per_s: float | None
    time_to_peak_s: float
    above_levels: tuple[AboveLevel, ...]


def tell_loading(pull: Measured, times: Times, whole: Wholeness, peak: Peak) -> Loading:
    """Tell rate, time to peak and durations above the levels."""
    rise_s = times.rise_time_s
    rate = (HIGH - LOW) * pull.top_n / rise_s if rise_s else None
    spread = None
    if rate is not None and rise_s and whole.seen_whole:
        spread = _rate_u(pull, peak, rate, rise_s)
    return Loading(
        load_rate_n_per_s=None if rate is None else pull.sign * rate,
        load_rate_expanded_u_n_per_s=spread,
        time_to_peak_s=(pull.peak - pull.onset) / pull.rate_hz,
        above_levels=_above_levels(pull, whole, peak),
    )


def _rate_u(pull: Measured, peak: Peak, rate: float, rise_s: float) -> float | None:
    """Expanded uncertainty of the rate; None where the rise may be that of the filters."""
    bandwidth_hz, cfc = pull.signal.trace.bandwidth_hz, pull.signal.cfc
    if not bandwidth_hz > 0.0:
        return None
    passed_hz = [bandwidth_hz] + ([MINUS_3_DB_PER_CLASS * cfc] if cfc else [])
    own_s = math.hypot(*(RISE_OF_FILTER / hz for hz in passed_hz))
    if own_s > MOST_OWN * rise_s:
        return None
    # Rises add as squares (common practice): the true one is shorter by no more than this.
    longer_s = rise_s - math.sqrt(rise_s**2 - own_s**2)
    noise_n = float(np.std(pull.pulse_n[pull.window]))
    crossings_s = [_crossing_u_s(pull, share, noise_n) for share in (LOW, HIGH)]
    if any(math.isnan(crossing_s) for crossing_s in crossings_s):
        return None
    rise_u = math.hypot(rectangular(longer_s), *crossings_s) / rise_s
    force_u = peak.peak_force_expanded_u_n / K_FACTOR / pull.top_n
    return K_FACTOR * rate * math.hypot(rise_u, force_u)


def _crossing_u_s(pull: Measured, share: float, noise_n: float) -> float:
    """Standard uncertainty of a crossing: half of what its level moves it by, up and down."""
    start = max(0, pull.contact.start - int(FORESHOOT_S * pull.rate_hz))
    low, high = (
        rise_through(pull.pulse_n, share * pull.top_n + sign * noise_n, start, pull.peak)
        for sign in (-1.0, 1.0)
    )
    return math.nan if low is None or high is None else 0.5 * (high - low) / pull.rate_hz


def _above_levels(pull: Measured, whole: Wholeness, peak: Peak) -> tuple[AboveLevel, ...]:
    """Time above each level, and its bounds by the uncertainty of the peak."""
    target_n = pull.signal.setup.target_n
    if not target_n or pull.sign < 0 or whole.gap_in_contact:
        return ()
    spread_n = peak.peak_force_expanded_u_n + abs(peak.peak_correction_n)
    curve = pull.pulse_n[pull.contact.start : max(pull.contact.stop, pull.peak) + 1]
    found = []
    for share in SHARES:
        level_n = share * target_n
        known = whole.seen_whole and float(curve[-1]) < level_n - spread_n
        shortest, told, longest = (
            time_above(curve, level_n + moved_n) / pull.rate_hz
            for moved_n in (spread_n, 0.0, -spread_n)
        )
        found.append(AboveLevel(share, level_n, told, shortest, longest if known else None))
    return tuple(found)


def time_above(values: npt.NDArray[np.float64], level: float) -> float:
    """Samples' time at or above a level, of straight lines between samples.

    Parameters
    ----------
    values : ndarray of float64, shape (n_samples,)
        The curve, without gaps.
    level : float
        The level.

    Returns
    -------
    float
        From 0 to n_samples - 1, in sample intervals.
    """
    low, high = np.minimum(values[:-1], values[1:]), np.maximum(values[:-1], values[1:])
    span = np.where(high > low, high - low, 1.0)
    # Kept within the span before it is divided: a span may be too small to divide by.
    shares = np.where(low >= level, 1.0, np.clip(high - level, 0.0, span) / span)
    return float(shares.sum())


@dataclass(frozen=True)
class Exposed:
    """Time at load over several drops.

    Attributes
    ----------
    levels : tuple of (float, float)
        Share of the target, and the seconds above it; empty where the targets differ.
    unknown : int
        Drops of which it is not known: then the seconds are the least.
    """

    levels: tuple[tuple[float, float], ...]
    unknown: int


def exposed(drops: Sequence[Marks]) -> Exposed:
    """Add up the time above the levels over drops of one article.

    Each counts with its measured contact, without bounces; where the top was not seen whole,
    what was seen is the least, and the drop is unknown. A line that never came taut adds nothing.
    """
    loaded = [marks for marks in drops if not marks.has("never-taut")]
    if len({marks.target_force_n for marks in drops}) != 1 or drops[0].target_force_n is None:
        return Exposed((), len(loaded))
    known = [marks for marks in loaded if marks.above_levels]
    whole = [marks for marks in known if marks.above_levels[0].longest_s is not None]
    levels = tuple(
        (share, math.fsum(marks.above_levels[place].duration_s for marks in known))
        for place, share in enumerate(SHARES)
    )
    return Exposed(levels, len(loaded) - len(whole))
