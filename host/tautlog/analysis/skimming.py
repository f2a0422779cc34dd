"""Skimming: what a stretch of a trace holds at most, cheaply and without marking it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tautlog.analysis.find_contacts import smoothed, without_glitches
from tautlog.analysis.stage1_signal import force_of
from tautlog.model.excerpt import Skim, Span
from tautlog.model.trace import Trace

# Samples around a stretch that are looked at, too: more than a glitch or a mean reaches.
MARGIN = 256


def skimmed(trace: Trace, first: int, span: Span) -> Skim:
    """Skim a stretch of a record.

    Parameters
    ----------
    trace : Trace
        A longer stretch of the record: what lies around `span` tells a pull from a glitch.
    first : int
        Its first sample, counted from the start of the record.
    span : Span
        The stretch, counted likewise.
    """
    start = max(span.start - first - MARGIN, 0)
    piece = slice(start, span.stop - first + MARGIN)
    own = slice(span.start - first - start, span.stop - first - start)
    force = force_of(replace(trace, force_n=trace.force_n[piece], clipped=trace.clipped[piece]))
    there = np.flatnonzero(np.isfinite(force))
    missing = span.size - int(np.isfinite(force[own]).sum())
    if missing == span.size:
        return Skim(span, missing)
    filled = np.interp(np.arange(force.size), there, force[there])
    clean, spikes = without_glitches(filled, trace.sample_rate_hz)
    even = smoothed(clean, trace.sample_rate_hz)[own]
    clipped = trace.clipped[piece].copy()
    clipped[spikes] = False
    at_limit = np.flatnonzero(clipped[own])
    lowest, highest = int(np.argmin(even)), int(np.argmax(even))
    return Skim(
        span,
        missing,
        clipped=at_limit.size,
        clipped_at=span.start + int(at_limit[0]) if at_limit.size else None,
        lowest_n=float(even[lowest]),
        highest_n=float(even[highest]),
        lowest_at=span.start + lowest,
        highest_at=span.start + highest,
        usual_n=float(np.median(even)),
    )
