"""Overlay: the pulls of all drops over one another, aligned where the line came taut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tautlog.analysis.thinning import thinned
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import Overlay
from tautlog.display.report.sources import Source
from tautlog.display.report.words import outcome_shape, outcome_word
from tautlog.display.views import Curve, FloatArray, NamedDrop, since_onset
from tautlog.model.display_units import SI

BEFORE, AFTER = 0.2, 1.35  # shown around each contact, in lengths of the contact
POINTS = 160  # of each curve; the grid is that of all together


def pulls(sources: Sequence[Source]) -> list[tuple[Source, Curve]]:
    """The pulls that can be aligned, each with its drop."""
    found = [(one, _pull(one)) for one in sources]
    return [(one, curve) for one, curve in found if curve is not None and curve.x.size]


def _pull(source: Source) -> Curve | None:
    """The contact of a drop with a little on either side; what bounces later is left out."""
    curve = since_onset(NamedDrop(source.name, source.drop))
    if curve is None:
        return None
    base = source.drop.marks.base_duration_s or 0.1
    start, stop = np.searchsorted(curve.x, (-BEFORE * base, AFTER * base))
    return Curve(curve.name, curve.x[start:stop], curve.y[start:stop])


def overlay_of(sources: Sequence[Source], campaign: Campaign | None) -> Overlay:
    """The pulls of all drops on one grid of times, so that every curve keeps its extremes."""
    drawn = pulls(sources)
    unit = (sources[0].drop.units if sources else SI).of("N")
    target_n, limit_n = levels_of(sources, campaign)
    places = [curve.x[thinned(curve.y, POINTS)] for _, curve in drawn]
    together = np.concatenate(places) if places else np.empty(0)
    grid: FloatArray = np.unique(np.round(together.astype(np.float64), 6))
    return Overlay(
        time_ms=tuple(round(1e3 * float(value), 3) for value in grid),
        labels=tuple(legend_of(source) for source, _ in drawn),
        force_n=tuple(_on_grid(curve, grid) for _, curve in drawn),
        target_n=target_n,
        limit_n=limit_n,
        unit=unit.name,
        newton_per_unit=unit.size,
    )


def legend_of(source: Source) -> str:
    """Number, peak and verdict of a curve."""
    peak, verdict = source.drop.shown(source.drop.marks), source.drop.verdict.test_verdict
    decision = source.drop.decision
    final, who = (decision.verdict, "decided") if decision else (verdict, "proposed")
    return (
        f"{source.number} {source.name}: {peak.text if peak else 'no peak'}, "
        f"{outcome_shape(final)} {outcome_word(final)} {who}"
    )


def levels_of(
    sources: Sequence[Source], campaign: Campaign | None
) -> tuple[float | None, float | None]:
    """Target and limit of the requirement; without one, those that all drops have."""
    if campaign is not None and campaign.setup.target_n is not None:
        return campaign.setup.target_n, campaign.setup.upper_n
    marks = [source.drop.loaded for source in sources]
    targets = {one.target_force_n for one in marks}
    limits = {one.limit_force_n for one in marks}
    return (
        targets.pop() if len(targets) == 1 else None,
        limits.pop() if len(limits) == 1 else None,
    )


def _on_grid(curve: Curve, grid: FloatArray) -> tuple[float | None, ...]:
    # A sample that is missing is a gap of the curve, as it is in the record.
    values = np.interp(grid, curve.x, curve.y, left=np.nan, right=np.nan)
    return tuple(round(float(one), 2) if np.isfinite(one) else None for one in values)
