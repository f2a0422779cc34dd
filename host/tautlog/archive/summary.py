"""Archive: what one record says, in one line.

The line is made of the file alone; `catalogue` has those of a whole folder.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tautlog.errors import RecordError, TautlogError
from tautlog.model.origin import IMPORTED, MARK, MEASURED, REHEARSED
from tautlog.record import seal_version

if TYPE_CHECKING:  # a list that comes from the catalogue needs no HDF5
    from tautlog.archive.kept_marks import KeptMarks
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
    peak_force_n, peak_force_expanded_u_n : float or None
        Of the newest marks.
    record_verdict, load_verdict, trace_says : str
        Of the newest marks; "" where it was never marked.
    test_verdict : str
        What the newest marks propose.
    decided, decided_by : str
        What a named person decided last, and who; or "".
    overruled : str
        Test verdicts, with ", " between, that were proposed or decided before and are
        neither proposed nor decided now.
    record_id, previous_seal : str
        As in the record.
    seal, seal_now : str
        The seal in the file, or ""; that of what is in the file.
    differs : str
        What is not as it was sealed, or "".
    released : bool
        The sled may have loaded what it hangs on; not where it was called off before.
    origin : str
        "measured", "rehearsed" or "imported".
    found : str
        What the newest inspection of the article found, or "".
    cfc : int or None
        Channel frequency class of the newest marks; 0 where there are none.
    calibration : str
        In words, the calibration that the newest marks used in place of the record's own.
    predicted_n : float or None
        Peak that was predicted of the drop.
    edited : str
        Entries that are not what was entered, with "; " between; or "".
    seal_version : int
        What its seal covers; from 2 on status and entries too.
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
    peak_force_expanded_u_n: float | None = None
    decided_by: str = ""
    overruled: str = ""
    origin: str = MEASURED
    found: str = ""
    cfc: int | None = 0
    calibration: str = ""
    predicted_n: float | None = None
    edited: str = ""
    seal_version: int = seal_version.CURRENT

    @property
    def path(self) -> Path:
        """The file."""
        return Path(self.file)

    @property
    def name(self) -> str:
        """Name of the file without its ending."""
        return os.path.splitext(os.path.basename(self.file))[0]

    @property
    def rehearsed(self) -> bool:
        """Whether it is a rehearsal, and counts for nothing.

        A file that is not what was sealed is not believed when it says so.
        """
        return self.origin == REHEARSED and not self.differs

    @property
    def doubts(self) -> list[str]:
        """Where it is not what was written, in words, for everything that tells of it."""
        found = [f"NOT BELIEVED: {self.edited}"] if self.edited else []
        if self.differs and self.origin == REHEARSED:
            found.append(f"says that it is a rehearsal and was changed ({self.differs}): it counts")
        elif self.differs:
            found.append(f"not what was sealed: {self.differs}")
        return found

    @property
    def mark(self) -> str:
        """What must stand beside its name wherever it is shown, or ""."""
        return MARK if self.origin == REHEARSED else IMPORTED if self.origin == IMPORTED else ""


def summary_of(path: Path) -> RecordSummary:
    """Return the summary of one file, or its problem."""
    from tautlog.record import open_checked

    try:
        return summary_from(*open_checked(path))
    except RecordError as problem:
        return RecordSummary(str(path), problem=str(problem))


def summary_from(record: Record, check: SealCheck | None = None) -> RecordSummary:
    """Return the summary of a record that was read; nothing of its seal without `check`."""
    from tautlog.archive.kept_marks import KeptMarks

    setup = record.setup
    marks = marks_of(record) or KeptMarks()
    proposed = marks.test_verdict or ""
    decided, decided_by = _decided(record)
    return RecordSummary(
        file=str(record.path),
        utc=record.utc,
        status=record.status,
        article=setup.article,
        line=setup.line,
        mass_kg=setup.mass_kg,
        height_m=setup.height_m,
        target_n=setup.target_n,
        peak_force_n=marks.peak_force_n,
        record_verdict=marks.record_verdict or "",
        load_verdict=marks.load_verdict or "",
        trace_says=marks.trace_says or "",
        test_verdict=proposed,
        decided=decided,
        record_id=record.record_id,
        previous_seal=record.previous_seal,
        seal=check.stored if check else "",
        seal_now=check.computed if check else "",
        differs=", ".join(check.differs) if check else "",
        mount=setup.mount,
        released=record.released or marks.peak_force_n is not None,
        peak_force_expanded_u_n=marks.peak_force_expanded_u_n,
        decided_by=decided_by,
        overruled=", ".join(_overruled(record, {proposed, decided})),
        origin=record.origin,
        found=record.inspections[-1].finding if record.inspections else "",
        cfc=marks.cfc,
        calibration=record.recalibration.text if record.recalibration else "",
        predicted_n=marks.predicted.peak_force_n if marks.predicted else None,
        edited="; ".join(one.text for one in record.edited),
        seal_version=record.seal_version,
    )


def _decided(record: Record) -> tuple[str, str]:
    """What was decided last and by whom, or ""."""
    if not record.decisions:
        return "", ""
    return record.decisions[-1].verdict, record.decisions[-1].by


def _overruled(record: Record, now: set[str]) -> list[str]:
    """Test verdicts of earlier decisions, and of what was proposed then, that are not now."""
    told = [word for one in record.decisions for word in (one.proposed, one.verdict)]
    return sorted(set(told) - now - {"", "pending"})


def exposes(record: Record) -> bool:
    """Whether a record's drop may have loaded what the sled hangs on.

    A measured contact counts, whatever became of the recording.
    """
    if record.released:
        return True
    marks = marks_of(record)
    return marks is not None and marks.peak_force_n is not None


def marks_of(record: Record) -> KeptMarks | None:
    """What the newest marks say; None without any.

    Marks that were edited say nothing: what they should say is reckoned again.
    A drop that did not end as it should may never have come to its marks, and has loaded
    line and mount all the same: it is marked for this question, and nothing is kept.
    """
    from tautlog.archive.kept_marks import marks_from, newest_marks

    if record.marks and not record.marks_edited:
        return newest_marks(record)
    samples = record.instrument is None or bool(record.block_table.size)
    if (record.status == "complete" and not record.marks_edited) or not samples:
        return None
    from tautlog.archive.assess import assess

    try:
        return marks_from(assess(record))
    except TautlogError:
        return None
