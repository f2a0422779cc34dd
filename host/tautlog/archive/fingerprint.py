"""Fingerprint: what identifies one drop of one board.

A board numbers blocks and events from the start of sampling, and stamps them with a clock that
restarts at each boot. Two drops of one board share numbers only by chance, and never share
both numbers and stamps.
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
    """The identity of one drop of one board.

    Attributes
    ----------
    serial : str
        The board's serial number.
    traits : frozenset of tuples
        Number, name, sample index since the start of sampling, and time stamp; for the arming
        and for the release.
    """

    serial: str
    traits: frozenset[Trait]

    @property
    def tells(self) -> bool:
        """Whether it identifies a drop: it has both the arming and the release."""
        names = {name for _, name, _, _ in self.traits}
        return ARMED in names and bool(names & set(RELEASES))

    def is_of(self, other: Fingerprint) -> bool:
        """Whether both certainly belong to the same drop."""
        return self.tells and self == other

    def may_be_of(self, other: Fingerprint) -> bool:
        """Whether both may belong to the same drop: neither contradicts the other."""
        small, large = sorted((self.traits, other.traits), key=len)
        return self.serial == other.serial and small <= large


def fingerprint(serial: str, events: Iterable[BoardEvent], start: int = 0) -> Fingerprint:
    """Take the fingerprint of a drop.

    Parameters
    ----------
    serial : str
        The board's serial number.
    events : iterable of BoardEvent
        All known events.
    start : int
        The board's index of the sample from which the events' sample indices count.
    """
    kept = (ARMED, *RELEASES)
    traits = {
        (event.number, event.name, event.sample_index + start, event.stamp_us)
        for event in events
        if event.name in kept
    }
    return Fingerprint(serial, frozenset(traits))


def fingerprint_of(record: Record) -> Fingerprint | None:
    """The fingerprint of a record's drop; None for an imported trace."""
    if record.instrument is None:
        return None
    return fingerprint(record.instrument.serial, record.events, record.first_sample_index)


def readable_records(folder: Path) -> Iterator[Record]:
    """The readable records of a folder, by name."""
    for path in sorted(folder.glob("*.h5")):
        with contextlib.suppress(RecordError):
            yield open_record(path, patient=False)


def records_of(folder: Path, wanted: Fingerprint) -> list[Record]:
    """The finished records of a folder that hold the wanted drop, by name."""
    found = []
    for record in readable_records(folder):
        known = fingerprint_of(record)
        if known is not None and record.status != "recording" and known.is_of(wanted):
            found.append(record)
    return found
