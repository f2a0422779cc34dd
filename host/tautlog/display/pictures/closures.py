"""Closures: what momentum and weight make of a force, drop after drop."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from tautlog.display.pictures.ink import FAINT, INK, LIMIT, new_figure

SEEN = (0.8, 1.2)  # what lies beyond is named below the picture
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
    """Numbers of the drops of which it is known and within the picture, and what it is."""
    known = {number: one for number, one in enumerate(values, start=1) if one is not None}
    seen = {number: one for number, one in known.items() if SEEN[0] <= one <= SEEN[1]}
    return list(seen), list(seen.values())
