"""Lessons: the records of one line in a folder, read for learning."""

from __future__ import annotations

import os
from pathlib import Path

from tautlog.errors import RecordError
from tautlog.learning import Learned, Lesson, learn, lesson_of
from tautlog.ledger import read_entries
from tautlog.line import Line
from tautlog.record import Record, open_record

MOST_RECORDS = 200  # the newest; older ones tell nothing more of a line


def learn_line(folder: str | os.PathLike[str], name: str, known: Line | None = None) -> Learned:
    """Learn from all records of a line in a folder.

    Parameters
    ----------
    folder : path
        Of the records.
    name : str
        Of the line; "" for records that name none.
    known : Line or None
        What campaign.toml says; drops before the first record are taken from it.

    Raises
    ------
    PlanError
        If there is nothing to learn from.
    RecordError
        If the folder cannot be read.
    """
    where = Path(folder)
    before = (known.drops or 0) if known else 0
    before += sum(one.line == name for one in read_entries(where))
    lessons: list[Lesson] = []
    refused: list[tuple[str, str]] = []
    count = before
    for record in _records_of(where, name, refused):
        marked = record.marks[-1].result if record.marks else {}
        setup = record.setup
        found = lesson_of(record.path.name, setup.mass_kg, setup.height_m, marked, count)
        if isinstance(found, Lesson):
            lessons.append(found)
        else:
            refused.append((record.path.name, found))
        count += record.status != "aborted"
    return learn(name, lessons, refused, count)


def _records_of(folder: Path, name: str, refused: list[tuple[str, str]]) -> list[Record]:
    try:
        paths = sorted(one for one in folder.iterdir() if one.suffix == ".h5")
    except OSError as problem:
        raise RecordError(f"{folder} cannot be listed: {problem.strerror}") from problem
    records = []
    for path in paths[-MOST_RECORDS:]:
        try:
            record = open_record(path)
        except RecordError as problem:
            refused.append((path.name, str(problem)))
            continue
        if record.setup.line == name:
            records.append(record)
    return sorted(records, key=lambda one: (one.utc, one.path.name))
