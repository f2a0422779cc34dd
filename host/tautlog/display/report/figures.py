"""Figures of a report: the pictures for paper, and what they show in words."""

from __future__ import annotations

import numpy as np

from tautlog.display.pictures.closures import SEEN, draw_closures
from tautlog.display.pictures.contact import put_contact
from tautlog.display.pictures.drop import stamp
from tautlog.display.pictures.image import svg_of
from tautlog.display.pictures.ink import new_figure
from tautlog.display.report.contents import Closures, Picture
from tautlog.display.report.curves import POINTS
from tautlog.display.report.sources import Source

SIZE_IN = (9.0, 4.0)
STAMP_PT = 54


def contact_picture(one: Source) -> Picture:
    """The contact of a drop, as on the picture of it that a crew sees."""
    told = _contact_told(one)
    if not np.isfinite(one.drop.curve.unfiltered_n).any():
        return Picture(svg_of(new_figure(*SIZE_IN), "no samples"), told)
    figure = new_figure(*SIZE_IN)
    put_contact(figure.subplots(), one.drop, one.expected, POINTS)
    if one.drop.rehearsed:
        stamp(figure, STAMP_PT)
    return Picture(svg_of(figure, told), told)


def _contact_told(one: Source) -> str:
    """The curve in words, for those who do not see it."""
    marks = one.drop.marks
    if marks.peak_force_n is None:
        return "Force over time: no contact stands out of the noise."
    text = f"Force over time: it rises to {marks.peak_force_n:.0f} N"
    if marks.duration_s:
        text += f" and stays above a tenth of that for {1000 * marks.duration_s:.1f} ms"
    if marks.break_time_s is not None:
        text += f"; it collapses from {abs(marks.break_force_n or 0):.0f} N"
    elif marks.bounces:
        text += f"; {marks.bounces} bounces follow"
    if marks.target_force_n:
        text += f". Target {marks.target_force_n:.0f} N"
        text += f", limit {marks.limit_force_n:.0f} N" if marks.limit_force_n else ""
    if one.expected is not None:
        text += f". Dotted: {one.expected.text}"
    return text + "."


def closures_picture(closures: Closures) -> Picture | None:
    """Closures over the drops; None without any drop."""
    if not closures.number:
        return None
    told = _closures_told(closures)
    return Picture(svg_of(draw_closures(closures.impulse, closures.rest), told), told)


def _closures_told(closures: Closures) -> str:
    told = [one for one in closures.impulse if one is not None]
    if not told:
        return "Closures over the campaign: none could be determined."
    outside = [
        f"{name} {value:.2f} of drop {number}"
        for name, values in (("impulse", closures.impulse), ("rest", closures.rest))
        for number, value in zip(closures.number, values, strict=True)
        if value is not None and not SEEN[0] <= value <= SEEN[1]
    ]
    text = (
        f"Closures over the campaign (dots: impulse, squares: rest force, over what momentum and "
        f"weight ask for): impulse {min(told):.3f} to {max(told):.3f} in {len(told)} drops; 0.95 "
        "to 1.05 is valid."
    )
    return f"{text} Outside of the chart: {', '.join(outside)}." if outside else text
