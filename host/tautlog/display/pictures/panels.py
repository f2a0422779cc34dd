"""Panels: views of records drawn as curves on axes, on paper and in a window."""

from __future__ import annotations

import textwrap

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from tautlog.display.pictures.ink import FAINT, INK, few, literal, new_figure, upright
from tautlog.display.views import Panel, View

# Overlaid curves differ in dashes as well as in colour.
STYLES = ("-", "--", "-.", ":")
HUES = ("#1b2a41", "#a63d2f", "#2a7f62", "#7a5195", "#b8860b")


def draw_view(view: View) -> Figure:
    """Draw a view, for paper."""
    count = len(view.panels)
    figure = new_figure(10.0, 6.0 if count == 1 else 7.5)
    places = figure.subplots(count, 1, squeeze=False).ravel()
    for axes, panel in zip(places, view.panels, strict=True):
        put_panel(axes, panel)
    title = textwrap.shorten(view.title, 120, placeholder=" ...")
    places[0].set_title(literal(title), fontsize=10, color=INK, loc="left")
    return figure


def put_panel(axes: Axes, panel: Panel) -> list[Line2D]:
    """Draw a panel on axes; its curves differ in dashes and colour, and have names.

    Returns
    -------
    list of Line2D
        One line for each curve, in order.
    """
    lines = []
    plain = 0
    for curve in panel.curves:
        hue, style, width = FAINT, "-", 0.8
        if not curve.faint:
            hue, style, width = HUES[plain % len(HUES)], STYLES[plain % len(STYLES)], 1.6
            plain += 1
        x, y = few(curve.x, curve.y)
        lines += axes.plot(x, y, label=literal(curve.name), color=hue, ls=style, lw=width)
    axes.margins(x=0.0 if all(curve.is_monotonic for curve in panel.curves) else 0.03)
    if panel.x_log:
        axes.set_xscale("log")
    if panel.y_log:
        axes.set_yscale("log")
    for name, level in panel.levels:
        axes.axhline(level, color=FAINT, lw=1.2, ls=(0, (6, 3, 1, 3)))
        axes.annotate(
            literal(name),
            (0.005, level),
            xycoords=("axes fraction", "data"),
            ha="left",
            va="top" if name.startswith("target") else "bottom",
            fontsize=8.5,
        )
    for number, (name, time_s) in enumerate(panel.times):
        upright(axes, name, time_s, top=0.985 - 0.13 * (number % 3))
    if panel.levels and not panel.y_log:
        top = 1.1 * max(level for _, level in panel.levels)
        axes.set_ylim(top=max(axes.get_ylim()[1], top))
    axes.set_xlabel(_labelled(panel.x))
    axes.set_ylabel(_labelled(panel.y))
    axes.grid(alpha=0.25)
    axes.legend(fontsize=8.5, framealpha=0.9, loc="upper right")
    return lines


def _labelled(named: tuple[str, str]) -> str:
    return ", ".join(part for part in named if part)
