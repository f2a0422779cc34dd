"""Curves: the curves of a drop for the page's script."""

from __future__ import annotations

import numpy as np

from tautlog.analysis.thinning import thinned
from tautlog.display.report.contents import ClosureSeries, PlotTrace
from tautlog.display.report.sources import Source
from tautlog.display.views import AFTER, BEFORE, FloatArray

POINTS = 700  # of each curve


def trace_of(source: Source) -> PlotTrace:
    """The contact of a drop and its surroundings, thinned."""
    marks, force = source.drop.marks, source.drop.curve
    unit = source.drop.units.of("N")
    seen = _around_contact(source)
    time_s = force.time_s[seen] - (marks.release_time_s or 0.0)
    raw_n, force_n = force.unfiltered_n[seen], force.force_n[seen]
    places = np.union1d(thinned(raw_n, POINTS), thinned(force_n, POINTS))
    return PlotTrace(
        time_s=tuple(round(float(value), 6) for value in time_s[places]),
        raw_n=_plain(raw_n[places]),
        force_n=_plain(force_n[places]),
        expected_n=_expected(source, force.time_s[seen][places]),
        label=f"class {marks.cfc}" if marks.cfc else "not filtered",
        unit=unit.name,
        newton_per_unit=unit.size,
        target_n=marks.target_force_n,
        limit_n=marks.limit_force_n,
    )


def _around_contact(source: Source) -> slice:
    marks, force = source.drop.marks, source.drop.curve
    if marks.onset_time_s is None:
        return slice(None)
    length = marks.base_duration_s or 0.1
    start = int(force.place_of(marks.onset_time_s - BEFORE * length))
    return slice(max(start, 0), int(force.place_of(marks.onset_time_s + AFTER * length)))


def _expected(
    source: Source, time_s: FloatArray
) -> tuple[tuple[float | None, ...], tuple[float | None, ...]] | None:
    """Lower and upper end of the prediction, at times of the trace; None outside it."""
    expected, onset_s = source.expected, source.drop.marks.onset_time_s
    if expected is None or onset_s is None:
        return None
    low, high = (
        np.interp(time_s - onset_s, expected.since_onset_s, force_n, left=np.nan, right=np.nan)
        for force_n in (expected.low_n, expected.high_n)
    )
    return _plain(low), _plain(high)


def _plain(values: FloatArray) -> tuple[float | None, ...]:
    return tuple(round(float(value), 2) if np.isfinite(value) else None for value in values)


def closures_of(sources: list[Source]) -> ClosureSeries:
    """Closures of all drops, in order."""
    marks = [source.drop.marks for source in sources]
    return ClosureSeries(
        tuple(range(1, len(marks) + 1)),
        tuple(drop.impulse_closure for drop in marks),
        tuple(drop.rest_closure for drop in marks),
    )
