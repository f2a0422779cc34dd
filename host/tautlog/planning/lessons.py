"""Lessons: the records of a folder, read to learn about their lines."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from tautlog.archive.summary import exposes, marks_of
from tautlog.campaign.ledger import LedgerEntry, read_entries
from tautlog.errors import RecordError
from tautlog.model.line import Line
from tautlog.planning.learning import Learned, Lesson, learn, learn_line_alone, lesson_of
from tautlog.record import Record, open_checked

MOST_RECORDS = 200  # the newest; older records add nothing about a line


@dataclass(frozen=True)
class LineRecords:
    """What a folder holds about its lines.

    Attributes
    ----------
    records : tuple of Record
        Readable records, by time of the drop.
    problems : tuple of (str, str)
        Files that cannot be read, and why.
    entries : tuple of LedgerEntry
        Drops entered by hand.
    changed : mapping
        What differs in records that are not as they were sealed, by file name.
    """

    records: tuple[Record, ...]
    problems: tuple[tuple[str, str], ...]
    entries: tuple[LedgerEntry, ...]
    changed: Mapping[str, str] = field(default_factory=dict)


def read_line_records(
    folder: str | os.PathLike[str],
    *,
    most: int | None = MOST_RECORDS,
    rehearsed: bool = False,
) -> LineRecords:
    """Read the newest records of a folder: at most `most` of them, or all.

    Rehearsals teach nothing about a real line and are left out; with `rehearsed`, only
    rehearsals are read.

    Raises
    ------
    RecordError
        If the folder cannot be read.
    """
    where = Path(folder)
    try:
        paths = sorted(path for path in where.iterdir() if path.suffix == ".h5")
    except OSError as problem:
        raise RecordError(f"{where} cannot be listed: {problem.strerror}") from problem
    records: list[Record] = []
    problems: list[tuple[str, str]] = []
    changed: dict[str, str] = {}
    for path in paths if most is None else paths[-most:]:
        try:
            record, check = open_checked(path)
        except RecordError as problem:
            problems.append((path.name, str(problem)))
            continue
        if record.rehearsed == rehearsed:
            records.append(record)
            if check.differs:
                changed[path.name] = f"not what was sealed: {', '.join(check.differs)}"
    records.sort(key=lambda record: (record.utc, record.path.name))
    return LineRecords(tuple(records), tuple(problems), tuple(read_entries(where)), changed)


def learn_from(
    folder: LineRecords,
    name: str,
    known: Line | None,
    *,
    before_utc: str = "",
    friction_n: float | None = None,
) -> Learned:
    """Learn from the records of one line.

    Parameters
    ----------
    folder : LineRecords
        The records.
    name : str
        Name of the line; "" for records that name no line.
    known : Line or None
        The line in campaign.toml, which gives the drops before the first record.
    before_utc : str
        Only drops before this time count; "" for all.
    friction_n : float or None
        Friction of the rails that is stated.

    Raises
    ------
    PlanError
        If no drop counts.
    """
    learned = learn(name, *_lessons_of(folder, name, known, before_utc), friction_n)
    broken = {file for file, _ in folder.problems} | folder.changed.keys()
    lost = tuple(file for file, _ in learned.refused if file in broken)
    return replace(learned, unreadable=lost)


def line_from(
    folder: LineRecords,
    name: str,
    known: Line | None,
    *,
    before_utc: str = "",
    friction_n: float | None = None,
) -> Line:
    """Only the line of `learn_from`, in a fraction of the time."""
    return learn_line_alone(name, *_lessons_of(folder, name, known, before_utc), friction_n)


def _lessons_of(
    folder: LineRecords, name: str, known: Line | None, before_utc: str
) -> tuple[list[Lesson], list[tuple[str, str]], int]:
    """The lessons, the records that give none and why, and the drops that the line has seen."""

    def earlier(utc: str) -> bool:
        return not before_utc or utc < before_utc

    count = (known.drops or 0) if known else 0
    count += sum(entry.line == name and earlier(entry.utc) for entry in folder.entries)
    lessons: list[Lesson] = []
    refused = list(folder.problems)
    for record in folder.records:
        if record.setup.line != name or not earlier(record.utc):
            continue
        marks = marks_of(record) if record.marks else None
        setup = record.setup
        found = folder.changed.get(record.path.name) or lesson_of(
            record.path.name, setup.mass_kg, setup.height_m, marks, count
        )
        if isinstance(found, Lesson):
            lessons.append(found)
        else:
            refused.append((record.path.name, found))
        count += exposes(record)
    return lessons, refused, count


def learn_line(
    folder: str | os.PathLike[str],
    name: str,
    known: Line | None = None,
    *,
    rehearsed: bool = False,
) -> Learned:
    """Learn from the newest records of a line in a folder; see `learn_from`.

    Raises
    ------
    PlanError
        If no drop counts.
    RecordError
        If the folder cannot be read.
    """
    return learn_from(read_line_records(folder, rehearsed=rehearsed), name, known)
