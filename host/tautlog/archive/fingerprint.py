"""Fingerprint: by what one event of a board is known again.

A board numbers blocks and events since it began to sample, and stamps them with a clock that
starts anew at each boot: two events of one board have the same numbers only by chance, and
the same numbers and stamps never.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tautlog.analysis.contradictions import ARMED, RELEASES
from tautlog.errors import RecordError
from tautlog.model.stream import BoardEvent
from tautlog.record import Record, open_record

Trait = tuple[int, str, int, int]


@dataclass(frozen=True)
class Fingerprint:
    """One event of one board.

    Attributes
    ----------
    serial : str
        Of the board.
    traits : frozenset of tuples
        Number, name, sample index since the board began to sample, and stamp of the arming
        and of the release.
    """

    serial: str
    traits: frozenset[Trait]

    @property
    def tells(self) -> bool:
        """Whether there is enough to know the event again: its arming and its release."""
        names = {name for _, name, _, _ in self.traits}
        return ARMED in names and bool(names & set(RELEASES))

    def is_of(self, other: Fingerprint) -> bool:
        """Whether both are of the same event, for sure."""
        return self.tells and self == other

    def may_be_of(self, other: Fingerprint) -> bool:
        """Whether nothing tells them apart: one may know less than the other."""
        small, large = sorted((self.traits, other.traits), key=len)
        return self.serial == other.serial and small <= large


def fingerprint(serial: str, events: Iterable[BoardEvent], start: int = 0) -> Fingerprint:
    """Take the fingerprint of an event.

    Parameters
    ----------
    serial : str
        Of the board.
    events : iterable of BoardEvent
        All that are known.
    start : int
        Board's index of the sample that their sample indices count from.
    """
    kept = (ARMED, *RELEASES)
    traits = {
        (one.number, one.name, one.sample_index + start, one.stamp_us)
        for one in events
        if one.name in kept
    }
    return Fingerprint(serial, frozenset(traits))


def fingerprint_of(record: Record) -> Fingerprint | None:
    """The fingerprint of what a record holds; None of an imported trace."""
    if record.instrument is None:
        return None
    return fingerprint(record.instrument.serial, record.events, record.first_sample_index)


def readable_records(folder: Path) -> Iterator[Record]:
    """Records in a folder by name; a broken neighbour is no reason to stop."""
    for path in sorted(folder.glob("*.h5")):
        with contextlib.suppress(RecordError):
            yield open_record(path)


def records_of(folder: Path, wanted: Fingerprint) -> list[Record]:
    """Finished records in a folder that hold the event, by name."""
    found = []
    for record in readable_records(folder):
        known = fingerprint_of(record)
        if known is not None and record.status != "recording" and known.is_of(wanted):
            found.append(record)
    return found
