"""Curves: what the page's script draws of a drop."""

from __future__ import annotations

import numpy as np

from tautlog.analysis.thinning import thinned
from tautlog.display.report.contents import Closures, Trace
from tautlog.display.report.sources import Source
from tautlog.display.views import AFTER, BEFORE, FloatArray

POINTS = 700  # of each curve


def trace_of(one: Source) -> Trace:
    """The contact of a drop and what is around it, thinned."""
    marks, force = one.drop.marks, one.drop.curve
    seen = _around_contact(one)
    time_s = force.time_s[seen] - (marks.release_time_s or 0.0)
    raw_n, force_n = force.unfiltered_n[seen], force.force_n[seen]
    places = np.union1d(thinned(raw_n, POINTS), thinned(force_n, POINTS))
    return Trace(
        time_s=tuple(round(float(value), 6) for value in time_s[places]),
        raw_n=_plain(raw_n[places]),
        force_n=_plain(force_n[places]),
        expected_n=_expected(one, force.time_s[seen][places]),
        label=f"class {marks.cfc} N" if marks.cfc else "not filtered N",
        target_n=marks.target_force_n,
        limit_n=marks.limit_force_n,
    )


def _around_contact(one: Source) -> slice:
    marks, rate = one.drop.marks, one.drop.curve.sample_rate_hz
    if marks.onset_time_s is None:
        return slice(None)
    length = marks.base_duration_s or 0.1
    start = int((marks.onset_time_s - BEFORE * length) * rate)
    return slice(max(start, 0), int((marks.onset_time_s + AFTER * length) * rate))


def _expected(
    one: Source, time_s: FloatArray
) -> tuple[tuple[float | None, ...], tuple[float | None, ...]] | None:
    """Lower and upper end of what was expected, at times of the trace; None beyond it."""
    expected, onset_s = one.expected, one.drop.marks.onset_time_s
    if expected is None or onset_s is None:
        return None
    low, high = (
        np.interp(time_s - onset_s, expected.since_onset_s, force_n, left=np.nan, right=np.nan)
        for force_n in (expected.low_n, expected.high_n)
    )
    return _plain(low), _plain(high)


def _plain(values: FloatArray) -> tuple[float | None, ...]:
    return tuple(round(float(one), 2) if np.isfinite(one) else None for one in values)


def closures_of(sources: list[Source]) -> Closures:
    """Closures of all drops, in their order."""
    marks = [one.drop.marks for one in sources]
    return Closures(
        tuple(range(1, len(marks) + 1)),
        tuple(one.impulse_closure for one in marks),
        tuple(one.rest_closure for one in marks),
    )
