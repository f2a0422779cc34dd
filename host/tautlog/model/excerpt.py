"""Excerpt: the stretch of a long record that is judged, and what is known of the rest of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Span:
    """A stretch of a trace, in samples from its start; `stop` is not in it."""

    start: int
    stop: int

    @property
    def size(self) -> int:
        """Samples in it."""
        return self.stop - self.start


@dataclass(frozen=True)
class Skim:
    """What a stretch of a trace holds at most, without being marked.

    Attributes
    ----------
    span : Span
        The stretch.
    missing, clipped : int
        Samples that are missing; samples at a known limit, glitches left out.
    clipped_at : int or None
        The first of those, from the start of the trace.
    lowest_n, highest_n : float or None
        Smallest and largest force, zero not removed, glitches left out, under a short moving
        mean; None where all samples are missing.
    lowest_at, highest_at : int
        Their samples, from the start of the trace.
    usual_n : float or None
        Median of the force.
    """

    span: Span
    missing: int
    clipped: int = 0
    clipped_at: int | None = None
    lowest_n: float | None = None
    highest_n: float | None = None
    lowest_at: int = 0
    highest_at: int = 0
    usual_n: float | None = None

    @property
    def extremes(self) -> tuple[tuple[float, int], ...]:
        """Smallest and largest force with their samples; nothing where all are missing."""
        found = ((self.lowest_n, self.lowest_at), (self.highest_n, self.highest_at))
        return tuple((force_n, at) for force_n, at in found if force_n is not None)


@dataclass(frozen=True)
class Excerpt:
    """The stretch of a record that is read and judged in place of all of it.

    Attributes
    ----------
    span : Span
        The stretch.
    samples, missing : int
        Of the whole record.
    before, after : tuple of Skim
        What the record holds before and after the stretch.
    """

    span: Span
    samples: int = 0
    missing: int = 0
    before: tuple[Skim, ...] = ()
    after: tuple[Skim, ...] = ()
