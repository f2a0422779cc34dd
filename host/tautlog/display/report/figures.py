"""Figures of a report: its pictures, with captions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tautlog.campaign.campaign import Campaign
from tautlog.display.pictures.closures import SEEN, draw_closures
from tautlog.display.pictures.contact import put_contact
from tautlog.display.pictures.drop import stamp
from tautlog.display.pictures.flight import put_pulls
from tautlog.display.pictures.image import svg_of
from tautlog.display.pictures.ink import new_figure
from tautlog.display.pictures.overlay import NumberedCurve, draw_overlay
from tautlog.display.report.contents import ClosureSeries, Picture
from tautlog.display.report.curves import POINTS
from tautlog.display.report.overlay import legend_of, levels_of, pulls
from tautlog.display.report.sources import Source
from tautlog.planning.against_flight import AgainstFlight

SIZE_IN = (9.0, 3.7)
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


def flight_picture(source: Source, against: AgainstFlight | None) -> Picture | None:
    """The drop over flight; None where no flight is stated."""
    if against is None:
        return None
    figure = new_figure(*SIZE_IN)
    put_pulls(figure.subplots(), source.drop, against)
    if source.drop.rehearsed:
        stamp(figure, STAMP_PT)
    caption = "The drop over the load in flight, both from where the line came taut."
    return Picture(svg_of(figure, caption), caption)


def overlay_picture(sources: Sequence[Source], campaign: Campaign | None) -> Picture | None:
    """The pulls of all drops over one another; None if no line came taut."""
    drawn = pulls(sources)
    if not drawn:
        return None
    target_n, limit_n = levels_of(sources, campaign)
    curves = [NumberedCurve(one.number, legend_of(one), curve) for one, curve in drawn]
    caption = _overlay_caption(sources, drawn, target_n)
    units = sources[0].drop.units
    figure = draw_overlay(curves, target_n=target_n, limit_n=limit_n, units=units)
    if any(source.drop.rehearsed for source, _ in drawn):
        stamp(figure, STAMP_PT)
    return Picture(svg_of(figure, caption), caption)


def _overlay_caption(
    sources: Sequence[Source], drawn: Sequence[tuple[Source, object]], target_n: float | None
) -> str:
    text = "All pulls, aligned where the line came taut; each bears the number of its drop."
    shown = {source.number for source, _ in drawn}
    missing = [str(one.number) for one in sources if one.number not in shown]
    if missing:
        word = "drop" if len(missing) == 1 else "drops"
        text += f" Not shown, because no line came taut: {word} {', '.join(missing)}."
    if target_n is None:
        text += " Targets differ, so that none is drawn."
    return text


def _contact_caption(source: Source) -> str:
    """The curve in words, for those who cannot see it."""
    marks, drop = source.drop.marks, source.drop
    peak, levels = drop.shown(marks), drop.shown_levels
    if peak is None:
        return "Force against time: no contact exceeds the noise."
    text = f"Force against time: it rises to {peak.text}"
    if marks.duration_s:
        text += f" and stays above 10 % of that for {1000 * marks.duration_s:.1f} ms"
    if marks.break_time_s is not None:
        text += f"; it collapses from {drop.units.text(abs(marks.break_force_n or 0), 'N')}"
    elif marks.bounces:
        text += f"; {marks.bounces} bounces follow"
    if marks.target_force_n:
        text += f". Target {levels['target']}"
        text += f", limit {levels['limit']}" if marks.limit_force_n else ""
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
