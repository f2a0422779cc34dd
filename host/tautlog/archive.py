"""Archive: what one record says, in one line.

The line is made of the file alone; `catalogue` has those of a whole folder.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tautlog.errors import RecordError

if TYPE_CHECKING:  # a list that comes from the catalogue needs no HDF5
    from tautlog.record import Record, SealCheck


class RecordSummary(NamedTuple):
    """One line of the list; None or "" where the record does not say.

    Attributes
    ----------
    file : str
        The file; a text, because ten thousand paths take as long as all else of a list.
    problem : str
        Why the file cannot be read, or "". Then nothing else is known.
    utc, status, article, line, mount : str
        As in the record.
    mass_kg, height_m, target_n : float or None
        As in the record.
    peak_force_n : float or None
        Of the newest marks.
    record_verdict, load_verdict, trace_says, test_verdict : str
        Of the newest marks; "" where it was never marked.
    decided : str
        What a named person decided, or "".
    record_id, previous_seal : str
        As in the record.
    seal, seal_now : str
        The seal in the file, or ""; that of what is in the file.
    differs : str
        What is not as it was sealed, or "".
    released : bool
        The sled may have loaded what it hangs on; not where it was called off before.
    """

    file: str
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
    record_id: str = ""
    previous_seal: str = ""
    seal: str = ""
    seal_now: str = ""
    differs: str = ""
    mount: str = ""
    released: bool = True

    @property
    def path(self) -> Path:
        """The file."""
        return Path(self.file)

    @property
    def name(self) -> str:
        """Name of the file without its ending."""
        return os.path.splitext(os.path.basename(self.file))[0]


def summary_of(path: Path) -> RecordSummary:
    """Return the summary of one file, or its problem."""
    from tautlog.record import open_checked

    try:
        return summary_from(*open_checked(path))
    except RecordError as problem:
        return RecordSummary(str(path), problem=str(problem))


def summary_from(record: Record, check: SealCheck | None = None) -> RecordSummary:
    """Return the summary of a record that was read; nothing of its seal without `check`."""
    setup = record.setup
    result = record.marks[-1].result if record.marks else {}

    def verdict(name: str) -> str:
        return str(result.get(name) or "")

    return RecordSummary(
        file=str(record.path),
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
        record_id=record.record_id,
        previous_seal=record.previous_seal,
        seal=check.stored if check else "",
        seal_now=check.computed if check else "",
        differs=", ".join(check.differs) if check else "",
        mount=setup.mount,
        released=record.released,
    )


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
