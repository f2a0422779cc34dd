"""Catalogue: a cache of the summaries of a folder's records.

It is an sqlite3 file next to the records. A summary is kept under the SHA-256 of its file's
bytes, so it holds whatever the file's name and place. For each name the catalogue also keeps
size, time and SHA-256, so a list need not read the file again. It holds nothing that is not in
the records: delete it at any time, and it is made again.
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
from tautlog.files.ordinary import is_mostly_holes
from tautlog.files.strict_json import read_list

FILE_NAME = ".tautlog-catalogue.sqlite3"
LAYOUT = 12  # raise it when a summary changes: all summaries are then made again
ENOUGH_FOR_CORES = 64
_AT_ONCE = 500  # summaries; SQLite takes 999 parameters of a query
_SHORT = 24  # signs; a seal or an identity has more
_TABLES = (
    "CREATE TABLE files (name TEXT PRIMARY KEY, stamp TEXT, sha256 TEXT)",
    "CREATE TABLE contents (sha256 TEXT PRIMARY KEY, summary TEXT)",
)
_BUSY_S = 5.0


def catalogued(folder: Path, *, every_byte: bool = False) -> list[RecordSummary]:
    """Summaries of all records directly in a folder, by the time of the drop.

    Broken files come last, with their problem. The folder may be read-only.

    Parameters
    ----------
    folder : Path
        The folder.
    every_byte : bool
        Read all bytes of all files; default: a file with the same name, size and time is
        taken as unchanged.

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
        if not isinstance(problem, sqlite3.Error):  # its content is not a summary: make it anew
            (folder / FILE_NAME).unlink(missing_ok=True)
        found = list(summaries_of([folder / name for name in stamps]))
    found += summaries_of([folder / name for name in odd])
    return sorted(found, key=lambda record: (bool(record.problem), record.utc, record.name))


def summaries_of(paths: list[Path]) -> Iterator[RecordSummary]:
    """Summarize files, many of them on all cores: opening a file takes most of the time."""
    if len(paths) < ENOUGH_FOR_CORES:
        yield from map(summary_of, paths)
        return
    with ProcessPoolExecutor() as pool:
        yield from pool.map(summary_of, paths, chunksize=16)


def _stamps(folder: Path) -> tuple[dict[str, str], list[str]]:
    """Size and time of every file that may be a record, by name; names that are not files.

    Reading a pipe would block and a link to itself has no end, so neither is opened.
    """
    stamps, odd = {}, []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.endswith(".h5"):
                    if _is_file(entry):
                        stamps[entry.name] = _stamp(entry.stat())
                    else:
                        odd.append(entry.name)
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


@dataclass(frozen=True, slots=True)
class _Seen:
    """A file as it is now, with the SHA-256 of its bytes."""

    name: str
    stamp: str
    sha256: str


def _from_database(
    folder: Path, stamps: dict[str, str], database: sqlite3.Connection, every_byte: bool
) -> list[RecordSummary]:
    files = {
        name: (stamp, sha256)
        for name, stamp, sha256 in database.execute("SELECT name, stamp, sha256 FROM files")
    }
    contents = {sha256 for (sha256,) in database.execute("SELECT sha256 FROM contents")}
    seen = []
    for name, stamp in stamps.items():
        before, sha256 = files.get(name, ("", ""))
        if every_byte or before != stamp:
            sha256 = _sha256(folder / name)
        seen.append(_Seen(name, stamp, sha256))
    known = [file for file in seen if file.sha256 in contents]
    unknown = [file for file in seen if file.sha256 not in contents]
    made = list(summaries_of([folder / file.name for file in unknown]))
    new = {
        file.sha256: _text(summary)
        for file, summary in zip(unknown, made, strict=True)
        # If the file changed meanwhile, the summary may not be of these bytes; problems may pass.
        if file.sha256 and not summary.problem and _unchanged(summary.path, file.stamp)
    }
    kept = contents | new.keys()
    rows = {file.name: (file.stamp, file.sha256) for file in seen if file.sha256 in kept}
    found = list(_kept_summaries(folder, known, database))
    if rows != files or new:
        _keep(database, rows, new)
    return found + made


def _kept_summaries(
    folder: Path, known: list[_Seen], database: sqlite3.Connection
) -> Iterator[RecordSummary]:
    """The summaries of files that the catalogue knows, some hundred at a time."""
    same: dict[object, object] = {}  # names and verdicts come again in thousands of records
    for start in range(0, len(known), _AT_ONCE):
        some = known[start : start + _AT_ONCE]
        marks = ",".join("?" * len(some))
        query = f"SELECT sha256, summary FROM contents WHERE sha256 IN ({marks})"
        texts = dict(database.execute(query, [file.sha256 for file in some]))
        there = [file for file in some if file.sha256 in texts]
        # One text is read faster than ten thousand.
        values = read_list(f"[{','.join(texts[file.sha256] for file in there)}]")
        for file, fields in zip(there, values, strict=True):
            shared = (same.setdefault(one, one) if _is_name(one) else one for one in fields)
            yield RecordSummary._make([os.path.join(folder, file.name), *shared])
        # Another program may have taken some out meanwhile.
        yield from summaries_of([folder / one.name for one in some if one.sha256 not in texts])


def _is_name(value: object) -> bool:
    """Whether a value is likely to come again, and is no number that equals another type's."""
    return isinstance(value, str) and len(value) < _SHORT


def _keep(
    database: sqlite3.Connection, rows: dict[str, tuple[str, str]], new: dict[str, str]
) -> None:
    """Keep what was seen; a read-only catalogue is not an error."""
    with contextlib.suppress(sqlite3.OperationalError), database:
        database.execute("DELETE FROM files")
        database.executemany(
            "INSERT INTO files VALUES (?, ?, ?)", [(name, *row) for name, row in rows.items()]
        )
        database.executemany("INSERT OR REPLACE INTO contents VALUES (?, ?)", new.items())
        database.execute("DELETE FROM contents WHERE sha256 NOT IN (SELECT sha256 FROM files)")


def _sha256(path: Path) -> str:
    """SHA-256 of a file, or "" if it cannot be read or would never end."""
    try:
        with open(path, "rb") as file:
            if is_mostly_holes(os.fstat(file.fileno())):
                return ""
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
    """Open the catalogue; make it anew if it is damaged or has an older layout."""
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


def _text(summary: RecordSummary) -> str:
    """The values after `file`, without names: half as long, and read in half the time.

    A wrong number of values raises TypeError when read; LAYOUT stands for their order.
    """
    return json.dumps(summary[1:])


@dataclass(frozen=True)
class Query:
    """A search for records; None matches every record.

    Attributes
    ----------
    article, line : str or None
        Exact names.
    verdict : str or None
        Any verdict of the record. For the test: proposed or decided, now or earlier; no
        decision hides a failure.
    proposed, decided : str or None
        Test verdict proposed now, and decided last.
    rehearsed : bool
        Include rehearsals.
    since, until : str or None
        ISO dates or times, both inclusive.
    peak_least_n, peak_most_n : float or None
        Range of the peak; a record without a peak does not match.
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

    def fits(self, record: RecordSummary) -> bool:
        """Whether a record matches all criteria."""
        exactly = (
            (self.article, record.article),
            (self.line, record.line),
            (self.proposed, record.test_verdict),
            (self.decided, record.decided),
        )
        return (
            (self.rehearsed or not record.rehearsed)
            and all(wanted is None or wanted == value for wanted, value in exactly)
            and (self.verdict is None or self.verdict in _verdicts(record))
            and (self.since is None or record.utc >= self.since)
            and (self.until is None or record.utc[: len(self.until)] <= self.until)
            and self._fits_peak(record.peak_force_n)
        )

    def _fits_peak(self, peak_n: float | None) -> bool:
        if self.peak_least_n is None and self.peak_most_n is None:
            return True
        least_n, most_n = self.peak_least_n or 0.0, self.peak_most_n
        return peak_n is not None and least_n <= abs(peak_n) <= (
            math.inf if most_n is None else most_n
        )


def _verdicts(record: RecordSummary) -> tuple[str, ...]:
    """All verdicts of a drop, now or earlier."""
    marked = (record.record_verdict, record.load_verdict, record.trace_says, record.test_verdict)
    return (*marked, record.decided, *record.overruled.split(", "))


def chosen(records: Iterable[RecordSummary], query: Query = Query()) -> list[RecordSummary]:
    """Records that match the query."""
    return [record for record in records if query.fits(record)]
