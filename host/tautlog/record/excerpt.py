"""Excerpt: a record of minutes is judged by the stretch around its drop, the rest is skimmed.

Marking takes about ten times the memory of its trace. Of a record of minutes the drop and its
rebounds are seconds: they are read and marked, with a good deal on both sides. All other samples
are read, too, one stretch after the other: rails, gaps and forces there are told, and
`analysis.beyond` holds them against the figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tautlog.analysis.skimming import MARGIN, skimmed
from tautlog.model.excerpt import Excerpt, Skim, Span
from tautlog.record.record import Record

# Samples of all channels that are marked at once: 24 s of one channel at 62 500 a second. Marking
# and drawing them takes less than 300 MB with everything; own choice.
MOST_SAMPLES = 1_500_000
STRETCHES = 14  # of which an excerpt is made
BEFORE = 3  # of them before the one with the release, or with the largest force
AT_ONCE = 8  # stretches that are read for skimming; own choice


def excerpted(record: Record) -> Record:
    """The record as it is judged: as it is, or if it is long, with its excerpt.

    Raises
    ------
    RecordError
        If it is damaged, or longer than any record that can be read.
    """
    if record.excerpt is not None:
        return record
    channels = 1 if record.instrument is None else len(record.instrument.channels)
    size, most = record.size, MOST_SAMPLES // channels
    if size <= most:
        return record
    step = most // STRETCHES
    skims = _skims(record, size, step)
    first = min(max(_place(record, skims) // step - BEFORE, 0), len(skims) - STRETCHES)
    last = first + STRETCHES
    excerpt = Excerpt(
        Span(skims[first].span.start, skims[last - 1].span.stop),
        size,
        sum(skim.missing for skim in skims),
        tuple(skims[:first]),
        tuple(skims[last:]),
    )
    return replace(record, excerpt=excerpt)


def _skims(record: Record, size: int, step: int) -> list[Skim]:
    """All stretches of a record, a few of them read at a time."""
    found: list[Skim] = []
    for begin in range(0, size, AT_ONCE * step):
        end = min(begin + AT_ONCE * step, size)
        around = Span(max(begin - MARGIN, 0), min(end + MARGIN, size))
        trace = replace(record, excerpt=Excerpt(around)).trace()
        found += [
            skimmed(trace, around.start, Span(start, min(start + step, end)))
            for start in range(begin, end, step)
        ]
    return found


def _place(record: Record, skims: Sequence[Skim]) -> int:
    """Sample that the excerpt must hold: the release, else the force furthest from the usual."""
    release = record.release_index
    if release is not None and 0 <= release < skims[-1].span.stop:
        return release
    usual = [skim.usual_n for skim in skims if skim.usual_n is not None]
    usual_n = float(np.median(usual)) if usual else 0.0
    found = [(abs(force_n - usual_n), at) for skim in skims for force_n, at in skim.extremes]
    return max(found)[1] if found else 0
