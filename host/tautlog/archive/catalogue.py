"""Catalogue: what a folder's records say in one line each, kept so that looking is quick.

An sqlite3 file beside the records. What a file says is kept under the SHA-256 of all its
bytes: a file with these bytes says that, whatever it is called and wherever it lies. Which
bytes a name had is kept beside, with size and time of its file, so that a list need not
read them again. It holds nothing that is not in the records: it may be deleted at any
time, and is made again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import os
import sqlite3
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tautlog.archive.summary import RecordSummary, summary_of
from tautlog.errors import RecordError
from tautlog.files.strict_json import read_list

FILE_NAME = ".tautlog-catalogue.sqlite3"
LAYOUT = 10  # raise it when a summary changes: all is then made again
ENOUGH_FOR_CORES = 64
_TABLES = (
    "CREATE TABLE files (name TEXT PRIMARY KEY, stamp TEXT, sha256 TEXT)",
    "CREATE TABLE contents (sha256 TEXT PRIMARY KEY, summary TEXT)",
)
_BUSY_S = 5.0


def catalogued(folder: Path, *, every_byte: bool = False) -> list[RecordSummary]:
    """Summaries of all records directly in a folder, by the time of the drop.

    Broken files are in the list, last, with their problem. A folder that cannot be
    written to is listed all the same.

    Parameters
    ----------
    folder : Path
        The folder.
    every_byte : bool
        Read all bytes of all files; without it, files of the same name, size and time are
        taken to be the same.

    Raises
    ------
    RecordError
        If the folder cannot be read.
    """
    stamps, odd = _stamps(folder)
    try:
        with _open(folder / FILE_NAME) as database:
            found = _from_database(folder, stamps, database, every_byte)
    except (sqlite3.Error, ValueError, TypeError) as problem:
        if not isinstance(problem, sqlite3.Error):  # what it holds is no summary: make it anew
            (folder / FILE_NAME).unlink(missing_ok=True)
        found = list(summaries_of([folder / name for name in stamps]))
    found += summaries_of([folder / name for name in odd])
    return sorted(found, key=lambda one: (bool(one.problem), one.utc, one.name))


def summaries_of(paths: list[Path]) -> Iterator[RecordSummary]:
    """Look into files, many of them on all cores: opening one takes most of the time."""
    if len(paths) < ENOUGH_FOR_CORES:
        yield from map(summary_of, paths)
        return
    with ProcessPoolExecutor() as pool:
        yield from pool.map(summary_of, paths, chunksize=16)


def _stamps(folder: Path) -> tuple[dict[str, str], list[str]]:
    """Size and time of every file that may be a record, by its name; names of what is no file.

    A pipe would be waited for, a link to itself ends nowhere: nobody reads those.
    """
    stamps, odd = {}, []
    try:
        with os.scandir(folder) as entries:
            for one in entries:
                if one.name.endswith(".h5"):
                    if _is_file(one):
                        stamps[one.name] = _stamp(one.stat())
                    else:
                        odd.append(one.name)
    except OSError as problem:
        raise RecordError(
            f"{folder} cannot be listed: {problem.strerror}; expected a folder of records",
            path=str(folder),
        ) from problem
    return stamps, odd


def _is_file(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_file()
    except OSError:  # a link to itself
        return False


def _stamp(stat: os.stat_result) -> str:
    return f"{stat.st_size}:{stat.st_mtime_ns}"


@dataclass(frozen=True)
class _Seen:
    """A file as it lies there now: SHA-256 of its bytes, and what they say, where known."""

    name: str
    stamp: str
    sha256: str
    text: str | None


def _from_database(
    folder: Path, stamps: dict[str, str], database: sqlite3.Connection, every_byte: bool
) -> list[RecordSummary]:
    files = {
        name: (stamp, sha256)
        for name, stamp, sha256 in database.execute("SELECT name, stamp, sha256 FROM files")
    }
    contents = dict(database.execute("SELECT sha256, summary FROM contents"))
    seen = []
    for name, stamp in stamps.items():
        before, sha256 = files.get(name, ("", ""))
        if every_byte or before != stamp:
            sha256 = _sha256(folder / name)
        seen.append(_Seen(name, stamp, sha256, contents.get(sha256)))
    known = [one for one in seen if one.text is not None]
    strange = [one for one in seen if one.text is None]
    looked = list(summaries_of([folder / one.name for one in strange]))
    new = {
        one.sha256: _text(summary)
        for one, summary in zip(strange, looked, strict=True)
        # Of what changed meanwhile nobody knows which bytes said it; problems may pass.
        if one.sha256 and not summary.problem and _unchanged(summary.path, one.stamp)
    }
    sayings = contents.keys() | new.keys()
    rows = {one.name: (one.stamp, one.sha256) for one in seen if one.sha256 in sayings}
    if rows != files or new:
        _keep(database, rows, new)
    # One text is read faster than ten thousand.
    told = read_list(f"[{','.join(one.text or '' for one in known)}]")
    return [
        RecordSummary._make([os.path.join(folder, one.name), *each])
        for one, each in zip(known, told, strict=True)
    ] + looked


def _keep(
    database: sqlite3.Connection, rows: dict[str, tuple[str, str]], new: dict[str, str]
) -> None:
    """Note what was seen; a catalogue that cannot be written is no error."""
    with contextlib.suppress(sqlite3.OperationalError), database:
        database.execute("DELETE FROM files")
        database.executemany(
            "INSERT INTO files VALUES (?, ?, ?)", [(name, *row) for name, row in rows.items()]
        )
        database.executemany("INSERT OR REPLACE INTO contents VALUES (?, ?)", new.items())
        database.execute("DELETE FROM contents WHERE sha256 NOT IN (SELECT sha256 FROM files)")


def _sha256(path: Path) -> str:
    """SHA-256 of all bytes of a file, or "" where it cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _unchanged(path: Path, stamp: str) -> bool:
    try:
        return _stamp(path.stat()) == stamp
    except OSError:
        return False


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
                for name in ("records", "files", "contents"):
                    database.execute(f"DROP TABLE IF EXISTS {name}")
                for table in _TABLES:
                    database.execute(table)
                database.execute(f"PRAGMA user_version = {LAYOUT}")
        yield database
    finally:
        database.close()


def _connect(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=_BUSY_S)


def _text(one: RecordSummary) -> str:
    """All but the file, without the names of the fields: half as long, and read in half the time.

    What has another number of them is no summary (TypeError), and LAYOUT tells their order.
    """
    return json.dumps(one[1:])


@dataclass(frozen=True)
class Query:
    """What is asked for of records; None where it does not matter.

    Attributes
    ----------
    article, line : str or None
        Exactly so named.
    verdict : str or None
        Any one of the verdicts; of the test what is proposed, what a person decided, or what
        either of them was before: no decision hides a failure.
    proposed, decided : str or None
        Of the test, what is proposed, and what was decided last.
    rehearsed : bool
        Rehearsals are among them.
    since, until : str or None
        ISO days or times; the day named by `until` is in.
    peak_least_n, peak_most_n : float or None
        Range of the peak; records without one are left out.
    """

    article: str | None = None
    line: str | None = None
    verdict: str | None = None
    proposed: str | None = None
    decided: str | None = None
    rehearsed: bool = False
    since: str | None = None
    until: str | None = None
    peak_least_n: float | None = None
    peak_most_n: float | None = None

    def fits(self, one: RecordSummary) -> bool:
        """Whether a record fits all that is asked for."""
        exactly = (
            (self.article, one.article),
            (self.line, one.line),
            (self.proposed, one.test_verdict),
            (self.decided, one.decided),
        )
        return (
            (self.rehearsed or not one.rehearsed)
            and all(asked is None or asked == is_ for asked, is_ in exactly)
            and (self.verdict is None or self.verdict in _verdicts(one))
            and (self.since is None or one.utc >= self.since)
            and (self.until is None or one.utc[: len(self.until)] <= self.until)
            and self._fits_peak(one.peak_force_n)
        )

    def _fits_peak(self, peak_n: float | None) -> bool:
        if self.peak_least_n is None and self.peak_most_n is None:
            return True
        least_n, most_n = self.peak_least_n or 0.0, self.peak_most_n
        return peak_n is not None and least_n <= abs(peak_n) <= (
            math.inf if most_n is None else most_n
        )


def _verdicts(one: RecordSummary) -> tuple[str, ...]:
    """All that was said of a drop, now or before."""
    now = (one.record_verdict, one.load_verdict, one.trace_says, one.test_verdict, one.decided)
    return (*now, *one.overruled.split(", "))


def chosen(records: Iterable[RecordSummary], query: Query = Query()) -> list[RecordSummary]:
    """Records that fit all that is asked for."""
    return [one for one in records if query.fits(one)]
