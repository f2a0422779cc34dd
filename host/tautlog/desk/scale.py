"""Scale: forces on one line from left to right, with target and limit, to be drawn by a page."""

from __future__ import annotations

from dataclasses import dataclass

WIDTH = 600.0  # of the drawing, in its own units
MARGIN = 130.0  # room for the words beside target and limit
ROOM = 0.15  # of the span, left and right


@dataclass(frozen=True)
class Scale:
    """Places on a drawing that is `WIDTH` wide; None where nothing is known.

    Attributes
    ----------
    target, limit : float or None
        Places of target and limit.
    low, high, peak : float or None
        Ends of the interval or band, and the force itself.
    """

    target: float | None
    limit: float | None
    low: float | None
    high: float | None
    peak: float | None

    @property
    def width(self) -> float:
        """Width of the drawing."""
        return WIDTH


def scale_of(
    target_n: float | None,
    limit_n: float | None,
    peak_n: float | None,
    band_n: tuple[float | None, float | None] = (None, None),
) -> Scale | None:
    """A scale on which all that is known has its place; None if nothing is."""
    forces = (target_n, limit_n, *band_n, peak_n)
    known = [force for force in forces if force is not None]
    if not known or peak_n is None:
        return None
    low, high = min(known), max(known)
    room = ROOM * (high - low) or 0.1 * abs(high) or 1.0
    low, high = low - room, high + room

    def place(force: float | None) -> float | None:
        if force is None:
            return None
        return round(MARGIN + (WIDTH - 2 * MARGIN) * (force - low) / (high - low), 1)

    target, limit, first, last, peak = map(place, forces)
    return Scale(target, limit, first, last, peak)
