"""Batch: many records marked again, on all cores.

Every record is worked on by one process alone; a run of marks is added to it, as always.
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
    """What became of one record.

    Attributes
    ----------
    path : Path
        The record.
    before, after : KeptMarks or None
        The newest run before, and this one; None where there is none.
    problem : str
        Why it could not be marked, or its marks not be kept; or "".
    """

    path: Path
    before: KeptMarks | None
    after: KeptMarks | None
    problem: str = ""

    @property
    def changes(self) -> tuple[tuple[str, str | None, str | None], ...]:
        """Verdicts that differ from those before: name, before, after."""
        if self.before is None or self.after is None:
            return ()
        told = [(one, getattr(self.before, one), getattr(self.after, one)) for one in _VERDICTS]
        return tuple(one for one in told if one[1] != one[2])


def records_in(places: Iterable[str | os.PathLike[str]]) -> list[Path]:
    """Records that are named, and those in named folders and the folders in them.

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
class Asked:
    """How records are marked again; see `assess` and `recalibrated`."""

    cfc: int | None = 0
    zero: str = ""
    calibration: str | None = None
    by: str = ""
    reason: str = ""


def remark_one(path: Path, asked: Asked) -> Remarked:
    """Mark one record again and keep the marks with it."""
    from tautlog.archive.assess import assess, recalibrated
    from tautlog.archive.kept_marks import keep_marks, marks_from, newest_marks
    from tautlog.record import open_record

    before = None
    try:
        record = open_record(path)
        before = newest_marks(record)
        record = recalibrated(record, asked.calibration, by=asked.by, reason=asked.reason)
        one = assess(record, cfc=asked.cfc, zero=asked.zero)
    except TautlogError as problem:
        return Remarked(path, before, None, str(problem))
    return Remarked(path, before, marks_from(one), keep_marks(record, one))


@contextlib.contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Where work is done by the workers of a running dask.distributed cluster.

    They must see the records under the same paths, and have the same version of tautlog.

    Raises
    ------
    RecordError
        If the extra is not installed, or nobody answers at the address.
    """
    try:
        from distributed import Client
    except ImportError as problem:
        raise RecordError(
            "a cluster needs the extra: pip install 'tautlog[cluster]'; without --cluster the "
            "cores of this machine are used"
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
    asked: Asked = Asked(),
    *,
    jobs: int | None = None,
    executor: Executor | None = None,
) -> Iterator[Remarked]:
    """Mark records again, in the order given.

    Parameters
    ----------
    paths : list of Path
        The records.
    asked : Asked
        How; without it as each was marked last.
    jobs : int or None
        Processes; as many as there are cores without.
    executor : Executor or None
        Where the work is done instead.
    """
    work = partial(remark_one, asked=asked)
    if executor is not None:
        yield from executor.map(work, paths)
    elif jobs == 1 or len(paths) <= 1:
        yield from map(work, paths)
    else:
        with ProcessPoolExecutor(jobs) as pool:
            yield from pool.map(work, paths, chunksize=_RECORDS_PER_TASK if len(paths) > 64 else 1)
