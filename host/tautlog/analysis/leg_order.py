"""Leg order: which leg let go first, told only where the traces can resolve it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS
from tautlog.model.legs import Leg
from tautlog.model.trace import Trace

TOLD, UNCLEAR = "told", "unclear"
# Rise time from 10 to 90 % of a first-order filter times its bandwidth: ln 9 / (2 pi), 0.35.
RISE_TIMES_BANDWIDTH = math.log(9.0) / (2.0 * math.pi)


@dataclass(frozen=True)
class Order:
    """The order in which legs lost their load.

    Attributes
    ----------
    first : str or None
        The first of them; None if it is not told.
    word : str
        `TOLD`, `UNCLEAR`, or "" if none lost its load.
    apart_s, resolved_s : float or None
        From the first loss to the second, and what it must exceed; None with fewer than two.
    """

    first: str | None = None
    word: str = ""
    apart_s: float | None = None
    resolved_s: float | None = None


def order_of(legs: Sequence[Leg], traces: Mapping[str, Trace | None], cfc: int | None) -> Order:
    """The order of the losses.

    Parameters
    ----------
    legs : sequence of Leg
        The legs with their losses.
    traces : mapping of str to Trace or None
        Their traces, at the same times.
    cfc : int or None
        Channel frequency class of the marks; None without a filter.
    """
    gone = sorted((leg for leg in legs if leg.break_time_s is not None), key=_break_s)
    if not gone:
        return Order()
    if not all(leg.calibrated for leg in legs):
        return Order(word=UNCLEAR)
    if len(gone) < 2:
        return Order(gone[0].name, TOLD)
    pairs = [
        (_break_s(after) - _break_s(before), _resolved_s(before, after, traces, cfc))
        for before, after in pairwise(gone)
    ]
    apart_s, resolved_s = pairs[0]
    told = apart_s > resolved_s
    return Order(gone[0].name if told else None, TOLD if told else UNCLEAR, apart_s, resolved_s)


def _resolved_s(
    before: Leg, after: Leg, traces: Mapping[str, Trace | None], cfc: int | None
) -> float:
    """What two losses must be apart for their order to be told: bounds, added.

    One sample for each of them; the rise time of the slowest filter, in which an edge is smeared;
    and the interval in which an onset of these legs can be placed, for edges are read off the same
    curves. Infinite if one of these is not known.
    """
    found = 0.0
    bandwidths = [] if cfc is None else [MINUS_3_DB_PER_CLASS * cfc]
    for leg in (before, after):
        trace = traces[leg.name]
        if trace is None:
            return math.inf
        found += 1.0 / trace.sample_rate_hz
        bandwidths.append(trace.bandwidth_hz or 0.5 * trace.sample_rate_hz)
    spreads = [leg.onset_expanded_u_s for leg in (before, after)]
    known = [spread for spread in spreads if spread is not None]
    if len(known) < 2:
        return math.inf
    return found + RISE_TIMES_BANDWIDTH / min(bandwidths) + math.hypot(*known)


def _break_s(leg: Leg) -> float:
    return math.inf if leg.break_time_s is None else leg.break_time_s
