"""Listing: the records of a folder in order, and what a reader must know about each."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tautlog.archive.catalogue import catalogued
from tautlog.archive.summary import RecordSummary
from tautlog.model.origin import FOLDER

SORTS = ("time", "name", "article", "peak", "verdict")


def records_in(folder: Path, *, rehearsed: bool) -> list[RecordSummary]:
    """The records of a folder, on request with those in its folder of rehearsals."""
    found = catalogued(folder)
    if rehearsed and (folder / FOLDER).is_dir():
        found += catalogued(folder / FOLDER)
    return found


def rehearsals_in(folder: Path, records: list[RecordSummary]) -> int:
    """Rehearsals among the records of a folder, and files in its folder of rehearsals."""
    return sum(record.rehearsed for record in records) + len(list((folder / FOLDER).glob("*.h5")))


def remarks(record: RecordSummary) -> list[str]:
    """What a reader must know about a record beside its line."""
    found = [record.problem] if record.problem else []
    if record.status not in ("", "complete") and record.record_verdict:
        found.append(f"the recording is {record.status}")
    if record.decided:
        found.append(
            f"proposed {record.test_verdict or '-'}, {record.decided_by} decided {record.decided}"
        )
    if record.overruled:
        found.append(f"earlier it was {record.overruled}")
    if record.calibration:
        found.append(f"marked with {record.calibration}")
    return found + record.doubts


def sort_key(sort: str) -> Callable[[RecordSummary], tuple[bool | float | str, ...]]:
    """Sort key, one of `SORTS`; unreadable records come last in any order."""

    def key(record: RecordSummary) -> tuple[bool | float | str, ...]:
        broken = bool(record.problem)
        if sort == "name":
            return broken, record.name
        if sort == "article":
            return broken, record.article, record.utc, record.name
        if sort == "peak":
            return broken, abs(record.peak_force_n or 0.0), record.name
        if sort == "verdict":
            return broken, record.test_verdict, record.decided, record.utc, record.name
        return broken, record.utc, record.name

    return key
