"""Scale: where a measured peak and its interval lie between target and limit.

Every drop has its own target and limit, so that the scale is relative: 0 is the target, 1 the
limit. It shows three quarters of that span beyond either end; what lies farther off is shown as
an arrow.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.archive.assessment import Assessment
from tautlog.display.report.words import form

BEYOND = 0.75  # shown below the target and above the limit, in spans


@dataclass(frozen=True)
class Scale:
    """One measured peak between its target and its limit.

    Attributes
    ----------
    low, at, high : float
        Interval and peak as shares of the whole scale, 0 to 1, cut off at its ends.
    off : str
        "below" or "above" if the peak lies beyond the scale, else "".
    at_least : bool
        The force may have been larger: the peak is a lower bound.
    target, limit : str
        Both ends of the span, with unit.
    """

    low: float
    at: float
    high: float
    off: str
    at_least: bool
    target: str
    limit: str


# Places of target and limit on every scale.
TARGET_AT = BEYOND / (1.0 + 2.0 * BEYOND)
LIMIT_AT = 1.0 - TARGET_AT


def scale_of(drop: Assessment) -> Scale | None:
    """The scale of a drop; None without a peak or without target and limit."""
    marks = drop.loaded
    target_n, limit_n, peak_n = marks.target_force_n, marks.limit_force_n, marks.peak_force_n
    if target_n is None or limit_n is None or peak_n is None or limit_n <= target_n:
        return None
    u_n = marks.peak_force_expanded_u_n or 0.0

    def place(force_n: float) -> float:
        return ((force_n - target_n) / (limit_n - target_n) + BEYOND) / (1.0 + 2.0 * BEYOND)

    at = place(peak_n)
    return Scale(
        low=_cut(place(peak_n - u_n)),
        at=_cut(at),
        high=1.0 if marks.lower_bound else _cut(place(peak_n + u_n)),
        off="below" if at < 0.0 else "above" if at > 1.0 else "",
        at_least=marks.lower_bound,
        target=form(target_n, "N", drop.units),
        limit=form(limit_n, "N", drop.units),
    )


def _cut(share: float) -> float:
    return min(max(share, 0.0), 1.0)
