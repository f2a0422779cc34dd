"""Converter: integral and differential non-linearity over code, with their interval."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tautlog.calibrate.code_density import CodeDensity
from tautlog.display.pictures.drop import stamp
from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    PLAIN_GROUND,
    literal,
    new_figure,
)


def draw_converter(found: CodeDensity, title: str, *, rehearsed: bool = False) -> Figure:
    """Draw where a converter's codes begin, and how wide they are.

    Parameters
    ----------
    found : CodeDensity
        What a code-density test found.
    title : str
        Title of the picture.
    rehearsed : bool
        The converter was simulated: stamp the picture.
    """
    figure = new_figure(10.0, 6.4)
    levels, widths = figure.subplots(2, 1, sharex=True, height_ratios=[3.0, 1.6])
    _levels(levels, found)
    levels.set_title(literal(title), fontsize=9.5, color=INK, loc="left")
    _widths(widths, found)
    if rehearsed:
        stamp(figure)
    return figure


def _levels(axes: Axes, found: CodeDensity) -> None:
    """Draw the error of each code's level, and the table with its interval."""
    table = found.linearity
    expanded = 2.0 * table.u_steps
    kept = table.error_at(found.codes)
    axes.fill_between(
        found.codes,
        kept - expanded,
        kept + expanded,
        facecolor=(FAINT, 0.45),
        edgecolor=FAINT,
        lw=0.6,
        label=f"table with U = {expanded:.2g} steps (k = 2)",
    )
    axes.plot(found.codes, found.inl, color=INK, lw=0.8, label="where codes begin")
    at = np.array([code for code, _ in table.knots])
    axes.plot(at, table.error_at(at), ".", ms=4.5, color=LIMIT, label="knots of the table")
    axes.axhline(0.0, color=FAINT, lw=0.8)
    axes.set_ylabel("INL, steps")
    axes.legend(fontsize=8.5, loc="upper right", framealpha=0.9, ncols=3)
    axes.margins(y=0.16)
    axes.grid(alpha=0.25)


def _widths(axes: Axes, found: CodeDensity) -> None:
    """Draw the widths of codes, the span that means nothing, and name the wide ones."""
    expanded = 2.0 * found.width_u
    axes.axhspan(
        -expanded, expanded, color=(FAINT, 0.45), lw=0.0, label=f"U = {expanded:.2g} steps (k = 2)"
    )
    axes.vlines(found.codes, 0.0, found.dnl, color=INK, lw=0.7, label="width of a code less one")
    axes.set_ylabel("DNL, steps")
    axes.set_xlabel("code")
    axes.set_xlim(0, 2**found.linearity.bits)
    axes.margins(y=0.25)
    axes.legend(fontsize=8.5, loc="lower right", framealpha=0.9, ncols=2)
    axes.grid(alpha=0.25)
    for code in found.wide_codes:
        axes.annotate(
            f"{code}",
            (code, float(found.dnl[code - int(found.codes[0])])),
            xytext=(5, -2),
            textcoords="offset points",
            fontsize=8.5,
            va="top",
            color=INK,
            bbox=PLAIN_GROUND,
        )
