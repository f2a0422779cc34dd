"""Closures: measured impulse and rest force over those expected, drop after drop."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from tautlog.display.pictures.ink import FAINT, INK, LIMIT, new_figure

SEEN = (0.8, 1.2)  # the caption names closures beyond
VALID = (0.95, 1.05)


def draw_closures(impulse: Sequence[float | None], rest: Sequence[float | None]) -> Figure:
    """Draw the closures of a campaign: dots for the impulse, squares for the rest force."""
    figure = new_figure(9.0, 3.6)
    axes = figure.subplots()
    for level in VALID:
        axes.axhline(level, color=LIMIT, lw=1.0, ls="-.")
    axes.plot(*_known(impulse), "o", ms=7.0, color=INK, label="impulse")
    axes.plot(*_known(rest), "s", ms=9.0, mfc="none", mew=1.6, color=INK, label="rest force")
    axes.axhline(1.0, color=FAINT, lw=0.8)
    axes.set_xlim(0.5, len(impulse) + 0.5)
    axes.set_ylim(*SEEN)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel("drop")
    axes.set_ylabel("measured / expected")
    axes.grid(alpha=0.25)
    axes.legend(loc="upper right", fontsize=8.5, framealpha=0.9, ncols=2)
    return figure


def _known(values: Sequence[float | None]) -> tuple[list[int], list[float]]:
    """Drop numbers and values that are known and inside the picture."""
    known = {number: value for number, value in enumerate(values, start=1) if value is not None}
    seen = {number: value for number, value in known.items() if SEEN[0] <= value <= SEEN[1]}
    return list(seen), list(seen.values())
