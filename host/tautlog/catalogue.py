"""Catalogue: what a folder's records say in one line each, kept so that listing is quick.

An sqlite3 file beside the records, with one row for each; a row counts as long as name,
size and time of its file are those that it was made from. It holds nothing that is not in
the records: it may be deleted at any time, and is made again.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path

from tautlog.archive import RecordSummary, summary_of
from tautlog.errors import RecordError

FILE_NAME = ".tautlog-catalogue.sqlite3"
LAYOUT = 2  # raise it when a summary changes: old rows are then made again
_BUSY_S = 5.0


def catalogued(folder: Path) -> list[RecordSummary]:
    """Summaries of all records directly in a folder; those of old from the catalogue.

    A folder that cannot be written to is listed all the same.

    Raises
    ------
    RecordError
        If the folder cannot be read.
    """
    try:
        with os.scandir(folder) as entries:
            files = {one.name: one.stat() for one in entries if one.name.endswith(".h5")}
    except OSError as problem:
        raise RecordError(
            f"{folder} cannot be listed: {problem.strerror}; expected a folder of records",
            path=str(folder),
        ) from problem
    stamps = {name: f"{stat.st_size}:{stat.st_mtime_ns}" for name, stat in files.items()}
    with contextlib.suppress(sqlite3.Error):
        return _with_database(folder, stamps)
    return [summary_of(folder / name) for name in sorted(stamps)]


def _with_database(folder: Path, stamps: dict[str, str]) -> list[RecordSummary]:
    with _open(folder / FILE_NAME) as database:
        kept = {
            name: (stamp, text)
            for name, stamp, text in database.execute("SELECT name, stamp, summary FROM records")
        }
        found, new = [], []
        for name in sorted(stamps):
            stamp, text = kept.get(name, ("", ""))
            if stamp == stamps[name]:
                found.append(_summary(folder / name, text))
                continue
            one = summary_of(folder / name)
            found.append(one)
            new.append((name, stamps[name], _text(one)))
        gone = [(name,) for name in kept if name not in stamps]
        if new or gone:
            with contextlib.suppress(sqlite3.OperationalError), database:
                database.executemany("DELETE FROM records WHERE name = ?", gone)
                database.executemany("INSERT OR REPLACE INTO records VALUES (?, ?, ?)", new)
        return found


@contextlib.contextmanager
def _open(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the catalogue, made new where it is damaged or of an older layout."""
    database = _connect(path)
    try:
        try:
            version = database.execute("PRAGMA user_version").fetchone()[0]
        except sqlite3.DatabaseError:
            database.close()
            path.unlink(missing_ok=True)
            database = _connect(path)
            version = 0
        if version != LAYOUT:
            with database:
                database.execute("DROP TABLE IF EXISTS records")
                database.execute(
                    "CREATE TABLE records (name TEXT PRIMARY KEY, stamp TEXT, summary TEXT)"
                )
                database.execute(f"PRAGMA user_version = {LAYOUT}")
        yield database
    finally:
        database.close()


def _connect(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=_BUSY_S)


def _text(one: RecordSummary) -> str:
    told = asdict(one)
    del told["path"]
    return json.dumps(told)


def _summary(path: Path, text: str) -> RecordSummary:
    return RecordSummary(path, **json.loads(text))


def chosen(
    records: Iterable[RecordSummary],
    *,
    article: str | None = None,
    line: str | None = None,
    verdict: str | None = None,
    since: str | None = None,
    until: str | None = None,
    peak_least_n: float | None = None,
    peak_most_n: float | None = None,
) -> list[RecordSummary]:
    """Records that fit all that is asked for.

    Parameters
    ----------
    records : iterable of RecordSummary
        To choose from.
    article, line : str or None
        Exactly so named.
    verdict : str or None
        Any one of the verdicts.
    since, until : str or None
        ISO days or times; the day named by `until` is in.
    peak_least_n, peak_most_n : float or None
        Range of the peak; records without one are left out.
    """

    def fits(one: RecordSummary) -> bool:
        verdicts = (one.record_verdict, one.load_verdict, one.trace_says, one.test_verdict)
        peak = None if one.peak_force_n is None else abs(one.peak_force_n)
        return (
            (article is None or one.article == article)
            and (line is None or one.line == line)
            and (verdict is None or verdict in verdicts)
            and (since is None or one.utc >= since)
            and (until is None or one.utc[: len(until)] <= until)
            and (peak_least_n is None or (peak is not None and peak >= peak_least_n))
            and (peak_most_n is None or (peak is not None and peak <= peak_most_n))
        )

    return [one for one in records if fits(one)]
