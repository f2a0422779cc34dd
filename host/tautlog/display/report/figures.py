"""Figures of a report: its pictures, with captions."""

from __future__ import annotations

import numpy as np

from tautlog.display.pictures.closures import SEEN, draw_closures
from tautlog.display.pictures.contact import put_contact
from tautlog.display.pictures.drop import stamp
from tautlog.display.pictures.image import svg_of
from tautlog.display.pictures.ink import new_figure
from tautlog.display.report.contents import ClosureSeries, Picture
from tautlog.display.report.curves import POINTS
from tautlog.display.report.sources import Source

SIZE_IN = (9.0, 4.0)
STAMP_PT = 54


def contact_picture(source: Source) -> Picture:
    """The contact of a drop, as in the crew's picture."""
    caption = _contact_caption(source)
    if not np.isfinite(source.drop.curve.unfiltered_n).any():
        return Picture(svg_of(new_figure(*SIZE_IN), "no samples"), caption)
    figure = new_figure(*SIZE_IN)
    put_contact(figure.subplots(), source.drop, source.expected, POINTS)
    if source.drop.rehearsed:
        stamp(figure, STAMP_PT)
    return Picture(svg_of(figure, caption), caption)


def _contact_caption(source: Source) -> str:
    """The curve in words, for those who cannot see it."""
    marks = source.drop.marks
    if marks.peak_force_n is None:
        return "Force against time: no contact exceeds the noise."
    text = f"Force against time: it rises to {marks.peak_force_n:.0f} N"
    if marks.duration_s:
        text += f" and stays above 10 % of that for {1000 * marks.duration_s:.1f} ms"
    if marks.break_time_s is not None:
        text += f"; it collapses from {abs(marks.break_force_n or 0):.0f} N"
    elif marks.bounces:
        text += f"; {marks.bounces} bounces follow"
    if marks.target_force_n:
        text += f". Target {marks.target_force_n:.0f} N"
        text += f", limit {marks.limit_force_n:.0f} N" if marks.limit_force_n else ""
    if source.expected is not None:
        text += f". Dotted: {source.expected.text}"
    return text + "."


def closures_picture(closures: ClosureSeries) -> Picture | None:
    """Closures over the drops; None if there is no drop."""
    if not closures.number:
        return None
    caption = _closures_caption(closures)
    return Picture(svg_of(draw_closures(closures.impulse, closures.rest), caption), caption)


def _closures_caption(closures: ClosureSeries) -> str:
    known = [ratio for ratio in closures.impulse if ratio is not None]
    if not known:
        return "Closures over the campaign: none could be determined."
    outside = [
        f"{name} {value:.2f} of drop {number}"
        for name, values in (("impulse", closures.impulse), ("rest", closures.rest))
        for number, value in zip(closures.number, values, strict=True)
        if value is not None and not SEEN[0] <= value <= SEEN[1]
    ]
    text = (
        "Closures over the campaign, measured over expected (dots: impulse, from momentum; "
        f"squares: rest force, from weight): impulse {min(known):.3f} to {max(known):.3f} in "
        f"{len(known)} drops; valid from 0.95 to 1.05."
    )
    return f"{text} Outside the chart: {', '.join(outside)}." if outside else text
