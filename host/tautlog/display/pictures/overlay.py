"""Overlay: the pulls of several drops over one another, told apart by numbers and dashes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    TARGET,
    few,
    literal,
    new_figure,
    unit_axis,
)
from tautlog.display.pictures.panels import HUES, STYLES
from tautlog.display.views import Curve
from tautlog.model.display_units import SI, Units

MOST_NAMED = 12  # more names than these leave no room for the curves
APART = 0.055  # of the height, between two numbers


@dataclass(frozen=True)
class NumberedCurve:
    """A curve with the number that stands at its peak, and its words in the legend."""

    number: int
    words: str
    curve: Curve


def draw_overlay(
    curves: Sequence[NumberedCurve],
    *,
    target_n: float | None,
    limit_n: float | None,
    units: Units = SI,
) -> Figure:
    """Draw pulls over one another, each with its number where its force is largest.

    Parameters
    ----------
    curves : sequence of NumberedCurve
        Times in seconds since the line came taut, forces in newtons.
    target_n, limit_n : float or None
        Target and limit, if all drops have the same.
    units : Units
        Units of display.
    """
    figure = new_figure(9.0, 3.9)
    axes = figure.subplots()
    for place, one in enumerate(curves):
        x, y = few(one.curve.x, one.curve.y, 500)
        hue, dashes = HUES[place % len(HUES)], STYLES[place % len(STYLES)]
        axes.plot(1e3 * x, y, color=hue, ls=dashes, lw=1.3, label=literal(one.words))
    _levels(axes, target_n, limit_n, units)
    axes.margins(x=0.0)
    axes.set_xlabel("time since the line came taut, ms")
    unit_axis(axes.yaxis, "force", units)
    axes.grid(alpha=0.25)
    _number_peaks(axes, curves)
    if len(curves) <= MOST_NAMED:
        axes.legend(fontsize=7.5, framealpha=0.9, loc="upper right")
    return figure


def _levels(axes: Axes, target_n: float | None, limit_n: float | None, units: Units) -> None:
    levels = (("target", target_n, TARGET, "--", "top"), ("limit", limit_n, LIMIT, "-.", "bottom"))
    for name, level_n, hue, dashes, side in levels:
        if level_n is None:
            continue
        axes.axhline(level_n, color=hue, lw=1.1, ls=dashes)
        axes.annotate(
            f"{name} {units.text(level_n, 'N')}",
            (0.005, level_n),
            xycoords=("axes fraction", "data"),
            va=side,
            fontsize=8,
            color=hue,
        )
    low_n, high_n = axes.get_ylim()
    axes.set_ylim(low_n, max(high_n, 1.12 * max(target_n or 0.0, limit_n or 0.0)))


def _number_peaks(axes: Axes, curves: Sequence[NumberedCurve]) -> None:
    """Write each number beside its peak; numbers that would cover each other are moved."""
    low_n, high_n = axes.get_ylim()
    taken: list[float] = []
    peaks = []
    for one in curves:
        if np.isfinite(one.curve.y).any():
            at = int(np.nanargmax(np.abs(one.curve.y)))
            peaks.append((float(one.curve.y[at]), 1e3 * float(one.curve.x[at]), one.number))
    for force_n, time_ms, number in sorted(peaks):
        height = force_n + 0.03 * (high_n - low_n)
        if taken:
            height = max(height, taken[-1] + APART * (high_n - low_n))
        taken.append(height)
        axes.annotate(
            str(number),
            (time_ms, force_n),
            (time_ms, height),
            ha="center",
            va="center",
            fontsize=8,
            weight="bold",
            color=INK,
            bbox={"boxstyle": "circle,pad=0.15", "facecolor": "white", "edgecolor": FAINT},
            arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.6},
        )
    if taken:
        axes.set_ylim(low_n, max(high_n, taken[-1] + APART * (high_n - low_n)))
