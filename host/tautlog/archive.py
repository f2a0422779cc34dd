"""Archive: the records of a folder, one line each.

Nothing but the files themselves is kept: the list is read from them every time.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import RecordError


@dataclass(frozen=True)
class RecordSummary:
    """One line of the list; None or "" where the record does not say.

    Attributes
    ----------
    path : Path
        The file.
    problem : str
        Why the file cannot be read, or "". Then nothing else is known.
    utc, status, article, line : str
        As in the record.
    mass_kg, height_m, target_n : float or None
        As in the record.
    peak_force_n : float or None
        Of the newest marks.
    record_verdict, load_verdict, trace_says, test_verdict : str
        Of the newest marks; "" where it was never marked.
    decided : str
        What a named person decided, or "".
    """

    path: Path
    problem: str = ""
    utc: str = ""
    status: str = ""
    article: str = ""
    line: str = ""
    mass_kg: float | None = None
    height_m: float | None = None
    target_n: float | None = None
    peak_force_n: float | None = None
    record_verdict: str = ""
    load_verdict: str = ""
    trace_says: str = ""
    test_verdict: str = ""
    decided: str = ""

    @property
    def name(self) -> str:
        """Name of the file without its ending."""
        return self.path.stem


def list_records(folder: str | os.PathLike[str]) -> list[RecordSummary]:
    """Return a summary of every .h5 file directly in a folder, by the time of the drop.

    Broken files are in the list, last, with their problem.

    Raises
    ------
    RecordError
        If the folder itself cannot be read.
    """
    where = Path(folder)
    try:
        paths = sorted(path for path in where.iterdir() if path.suffix == ".h5")
    except OSError as problem:
        raise RecordError(
            f"{where} cannot be listed: {problem.strerror}; expected a folder of records",
            path=str(where),
        ) from problem
    return sorted(
        (summary_of(path) for path in paths), key=lambda one: (bool(one.problem), one.utc, one.name)
    )


def summary_of(path: Path) -> RecordSummary:
    """Return the summary of one file, or its problem."""
    # A list that comes from the catalogue needs no HDF5.
    from tautlog.record import open_record

    try:
        record = open_record(path)
    except RecordError as problem:
        return RecordSummary(path, problem=str(problem))
    setup = record.setup
    result = record.marks[-1].result if record.marks else {}

    def verdict(name: str) -> str:
        return str(result.get(name) or "")

    return RecordSummary(
        path=path,
        utc=record.utc,
        status=record.status,
        article=setup.article,
        line=setup.line,
        mass_kg=setup.mass_kg,
        height_m=setup.height_m,
        target_n=setup.target_n,
        peak_force_n=_number(result.get("peak_force_n")),
        record_verdict=verdict("record_verdict"),
        load_verdict=verdict("load_verdict"),
        trace_says=verdict("trace_says"),
        test_verdict=verdict("test_verdict"),
        decided=record.decisions[-1].verdict if record.decisions else "",
    )


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
