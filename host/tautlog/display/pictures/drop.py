"""Drop: one record as a picture, for a crew around a laptop."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tautlog.archive.assessment import Assessment
from tautlog.archive.verdict_lines import quick_look
from tautlog.display.pictures.contact import put_contact, span
from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    force,
    literal,
    millisecond,
    new_figure,
    unit_axis,
    upright,
)
from tautlog.model.origin import MARK

if TYPE_CHECKING:  # the plan is heavy
    from tautlog.planning.expected import Expected


def draw_drop(drop: Assessment, title: str, expected: Expected | None = None) -> Figure:
    """Draw a record: its verdicts, the contact and the whole trace.

    Parameters
    ----------
    drop : Assessment
        The drop.
    title : str
        Title of the picture.
    expected : Expected or None
        The predicted pull, drawn as a band behind the measured one.
    """
    figure = new_figure(11.0, 7.5)
    head, contact, whole = figure.subplots(3, 1, height_ratios=[1.5, 4.2, 1.8])
    _head(head, drop, title)
    put_contact(contact, drop, expected)
    _whole(whole, drop)
    if drop.rehearsed:
        stamp(figure)
    return figure


def stamp(figure: Figure, size_pt: float = 84) -> None:
    """Stamp a figure, so that nobody mistakes a rehearsal for a drop."""
    figure.text(
        0.5,
        0.42,
        MARK,
        fontsize=size_pt,
        weight="bold",
        color=LIMIT,
        ha="center",
        va="center",
        rotation=18,
        alpha=0.22,
    )


def _number(value: object, form: str) -> str:
    return "-" if value is None else format(value, form)


def _impulse(drop: Assessment) -> str:
    impulse_ns = drop.marks.impulse_ns
    return "-" if impulse_ns is None else drop.units.text(impulse_ns, "N s", ".1f")


def _head(axes: Axes, drop: Assessment, title: str) -> None:
    marks = drop.marks
    axes.set_axis_off()
    axes.text(0.0, 1.06, literal(title), fontsize=9, color=INK, va="top")
    places = (0.92, 0.76, 0.60, 0.34, 0.18)
    for number, (line, place) in enumerate(zip(quick_look(drop), places, strict=True)):
        load = number == 2  # the line to read from a distance
        axes.text(
            0.0,
            place,
            literal(textwrap.shorten(line, 110 if load else 150, placeholder=" ...")),
            fontsize=17 if load else 11,
            weight="bold" if load else "normal",
            color=INK,
            va="top",
        )
    figures = (
        f"duration {millisecond(marks.duration_s)}   rise {millisecond(marks.rise_time_s)}   "
        f"impulse {_impulse(drop)}   "
        f"unfiltered {force(marks.peak_force_unfiltered_n, drop.units)}   "
        f"rest {force(marks.rest_force_n, drop.units)}   bounces {_number(marks.bounces, 'd')}"
        f"   impulse closure {_number(marks.impulse_closure, '.3f')}"
    )
    axes.text(0.0, 0.01, figures, fontsize=9.5, color=INK, va="top")


def _whole(axes: Axes, drop: Assessment) -> None:
    """Draw the whole trace, small."""
    curve, rest_n = drop.curve, drop.marks.rest_force_n
    first_s, end_s = curve.begins_s, curve.ends_s
    time_s, line_n = span(curve, curve.force_n, (first_s, end_s))
    axes.plot(time_s, line_n, color=INK, lw=0.8)
    axes.set_xlim(first_s, max(end_s, first_s + 1.0 / curve.sample_rate_hz))
    axes.set_xlabel("time from the start of the trace, s")
    unit_axis(axes.yaxis, "force", drop.units)
    if rest_n is not None:
        axes.axhline(rest_n, color=FAINT, lw=1.0, ls="--")
        axes.annotate(
            f"rest {force(rest_n, drop.units)}",
            (0.995, rest_n),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="bottom",
            fontsize=9,
            color=INK,
        )
    for name, at_s in (("release", drop.marks.release_time_s), ("onset", drop.marks.onset_time_s)):
        if at_s is not None and first_s <= at_s <= end_s:
            upright(axes, name, at_s)
    axes.grid(alpha=0.25)
