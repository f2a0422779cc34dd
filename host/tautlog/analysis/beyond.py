"""Beyond: what a long record holds outside of the excerpt that was judged, against the figures.

Nobody knows which of two pulls was the drop. If anything outside comes near the peak, lies at a
limit, or may hide the pull, the excerpt's figures are doubtful.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tautlog.analysis.stage2_place import PEAK_COUNTS, PEAK_SIGMAS
from tautlog.model.excerpt import Excerpt
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import Trace

# Of the peak, beyond the force with which the excerpt begins or ends: a further pull of the line
# reaches it, and hands on a hanging sled do not; own choice.
FURTHER_PULL = 0.25
AT_END_S = 0.1  # of the excerpt, that this force is taken from; own choice


def with_excerpt(marks: Marks, trace: Trace, excerpt: Excerpt | None, legs: int = 1) -> Marks:
    """The marks of an excerpt, with what they leave out; of a whole record they stay as they are.

    Parameters
    ----------
    marks, trace : Marks, Trace
        Of the excerpt.
    excerpt : Excerpt or None
        None if the whole record was marked.
    legs : int
        Force channels: a pull of one alone is less than one of all.
    """
    if excerpt is None:
        return marks
    told = [Finding("excerpt", _words(excerpt, trace.sample_rate_hz))]
    doubts = _doubts(marks, trace, excerpt, legs)
    if doubts:
        text = f"{told[0].text}; outside of it {'; '.join(doubts)}"
        told.append(Finding("beyond-excerpt", text))
    return replace(
        marks,
        samples=excerpt.samples,
        missing_samples=excerpt.missing,
        findings=(*marks.findings, *told),
    )


def _words(excerpt: Excerpt, rate_hz: float) -> str:
    start_s, stop_s = (place / rate_hz for place in (excerpt.span.start, excerpt.span.stop))
    return (
        f"the record is long, {excerpt.samples / rate_hz:.1f} s: judged was its stretch from "
        f"{start_s:.3f} s to {stop_s:.3f} s"
    )


def _doubts(marks: Marks, trace: Trace, excerpt: Excerpt, legs: int) -> list[str]:
    """What outside of the excerpt does not go with its figures, in words."""
    rate_hz, every = trace.sample_rate_hz, (*excerpt.before, *excerpt.after)
    found = []
    at_limit = [skim.clipped_at for skim in every if skim.clipped_at is not None]
    if at_limit:
        length_ms = 1000 * sum(skim.clipped for skim in every) / rate_hz
        found.append(
            f"the signal lies at a limit for {length_ms:.3g} ms, the first time at "
            f"{min(at_limit) / rate_hz:.4f} s"
        )
    pull = _pull(marks, trace, excerpt, legs)
    if pull is not None:
        force_n, at = pull
        peak_n = marks.peak_force_n
        held = "no pull was found in it" if peak_n is None else f"its peak is {peak_n:.0f} N"
        found.append(f"the force reaches {force_n:.0f} N at {at / rate_hz:.4f} s, and {held}")
    lost = sum(skim.missing for skim in excerpt.before)
    if lost and marks.release_time_s is None:
        found.append(
            f"{lost} samples before it are missing, and no release tells when the drop was"
        )
    return found


def _pull(marks: Marks, trace: Trace, excerpt: Excerpt, legs: int) -> tuple[float, int] | None:
    """The largest force outside of the excerpt that may be a pull, and its sample."""
    zero_n, peak_n = marks.zero_offset_n or 0.0, abs(marks.peak_force_n or 0.0)
    noise_n = PEAK_SIGMAS * (marks.noise_n or 0.0)
    least_n = max(noise_n, PEAK_COUNTS * trace.quantum_n, FURTHER_PULL / legs * peak_n)
    as_high_n = max(peak_n - (marks.peak_force_expanded_u_n or 0.0), least_n)
    sign = 1.0 if marks.curve is None else float(marks.curve.sign)
    count = max(int(AT_END_S * trace.sample_rate_hz), 1)
    found = []
    for skims, end in ((excerpt.before, slice(count)), (excerpt.after, slice(-count, None))):
        level_n = max(sign * (_middle(trace.force_n[end]) - zero_n), 0.0) if peak_n else 0.0
        extremes = [(force_n - zero_n, at) for skim in skims for force_n, at in skim.extremes]
        for force_n, at in extremes:
            if sign * force_n > level_n + least_n or abs(force_n) >= as_high_n:
                found.append((force_n, at))
    return max(found, key=lambda one: abs(one[0])) if found else None


def _middle(force_n: np.ndarray) -> float:
    """Median of what is there; 0 where nothing is."""
    there = force_n[np.isfinite(force_n)]
    return float(np.median(there)) if there.size else 0.0
