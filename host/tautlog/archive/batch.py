"""Batch: mark many records again, on all cores.

One process works on each record. It adds a marking run and changes nothing else.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautlog.errors import RecordError, TautlogError

if TYPE_CHECKING:  # a list of records needs no filters
    from tautlog.archive.kept_marks import KeptMarks

_VERDICTS = ("record_verdict", "load_verdict", "trace_says", "test_verdict")
_RECORDS_PER_TASK = 8
CLUSTER_TIMEOUT_S = 10.0


@dataclass(frozen=True)
class Remarked:
    """The result for one record.

    Attributes
    ----------
    path : Path
        The record.
    before, after : KeptMarks or None
        The newest marks before, and those of this run; None if there are none.
    problem : str
        Why the record could not be marked, or its marks not be kept; or "".
    """

    path: Path
    before: KeptMarks | None
    after: KeptMarks | None
    problem: str = ""

    @property
    def changes(self) -> tuple[tuple[str, str | None, str | None], ...]:
        """Verdicts that changed: name, before, after."""
        if self.before is None or self.after is None:
            return ()
        pairs = [(key, getattr(self.before, key), getattr(self.after, key)) for key in _VERDICTS]
        return tuple((key, before, after) for key, before, after in pairs if before != after)


def records_in(places: Iterable[str | os.PathLike[str]]) -> list[Path]:
    """Named records, and the records in named folders and their subfolders.

    Raises
    ------
    RecordError
        If a place does not exist.
    """
    found: list[Path] = []
    for place in map(Path, places):
        if place.is_dir():
            found += sorted(place.rglob("*.h5"))
        elif place.is_file():
            found.append(place)
        else:
            raise RecordError(f"{place} is neither a record nor a folder", path=str(place))
    return found


@dataclass(frozen=True)
class RemarkSettings:
    """How to mark records again; see `assess` and `recalibrated`."""

    cfc: int | None = 0
    zero: str = ""
    calibration: str | None = None
    by: str = ""
    reason: str = ""


def remark_one(path: Path, settings: RemarkSettings) -> Remarked:
    """Mark one record again and keep the marks with it."""
    from tautlog.archive.assess import assess, recalibrated
    from tautlog.archive.kept_marks import keep_marks, marks_from, newest_marks
    from tautlog.record import open_record

    before = None
    try:
        record = open_record(path)
        before = newest_marks(record)
        record = recalibrated(record, settings.calibration, by=settings.by, reason=settings.reason)
        assessment = assess(record, cfc=settings.cfc, zero=settings.zero)
    except TautlogError as problem:
        return Remarked(path, before, None, str(problem))
    return Remarked(path, before, marks_from(assessment), keep_marks(record, assessment))


@contextlib.contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor on the workers of a running dask.distributed cluster.

    The workers must see the records under the same paths, and run the same version of tautlog.

    Raises
    ------
    RecordError
        If the extra is not installed, or no cluster answers at the address.
    """
    try:
        from distributed import Client
    except ImportError as problem:
        raise RecordError(
            "a cluster needs an extra: pip install 'tautlog[cluster]'; or leave out --cluster to "
            "use the cores of this machine"
        ) from problem
    connect: Callable[..., Any] = Client
    try:
        client = connect(address, timeout=CLUSTER_TIMEOUT_S)
    except (OSError, ValueError, TimeoutError) as problem:
        raise RecordError(f"no cluster answers at {address}: {problem}") from problem
    with client:
        yield client.get_executor()


def remark(
    paths: list[Path],
    settings: RemarkSettings = RemarkSettings(),
    *,
    jobs: int | None = None,
    executor: Executor | None = None,
) -> Iterator[Remarked]:
    """Mark records again, in the given order.

    Parameters
    ----------
    paths : list of Path
        The records.
    settings : RemarkSettings
        How to mark; default: as each record was marked last.
    jobs : int or None
        Number of processes; default: one for each core.
    executor : Executor or None
        Does the work instead of processes on this machine.
    """
    work = partial(remark_one, settings=settings)
    if executor is not None:
        yield from executor.map(work, paths)
    elif jobs == 1 or len(paths) <= 1:
        yield from map(work, paths)
    else:
        with ProcessPoolExecutor(jobs) as pool:
            yield from pool.map(work, paths, chunksize=_RECORDS_PER_TASK if len(paths) > 64 else 1)
