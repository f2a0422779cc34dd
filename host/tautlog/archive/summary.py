"""Summary: one record in one line.

The line comes from the file alone; `catalogue` holds those of a whole folder.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tautlog.errors import RecordError, TautlogError
from tautlog.model import seal_version
from tautlog.model.display_units import SI, Units
from tautlog.model.origin import IMPORTED, MARK, MEASURED, REHEARSED
from tautlog.model.shown import shown_force
from tautlog.model.surroundings import Surroundings
from tautlog.model.verdict_words import force_text

if TYPE_CHECKING:  # a list from the catalogue needs no HDF5
    from tautlog.archive.kept_marks import KeptMarks
    from tautlog.record import Record, SealCheck


class RecordSummary(NamedTuple):
    """One line of the list; None or "" if the record does not say.

    Attributes
    ----------
    file : str
        The file, as text: ten thousand `Path` objects would double the time of a list.
    problem : str
        Why the file cannot be read, or "". If set, nothing else is known.
    utc, status, article, line, mount : str
        As in the record.
    mass_kg, height_m, target_n : float or None
        As in the record.
    peak_force_n, peak_force_expanded_u_n : float or None
        Of the newest marks.
    record_verdict, load_verdict, trace_says : str
        Of the newest marks; "" if it was never marked.
    test_verdict : str
        Proposed by the newest marks.
    decided, decided_by : str
        The newest decision of a named person, and the name; or "".
    overruled : str
        Test verdicts that were proposed or decided earlier and are neither now, separated
        by ", ".
    record_id, previous_seal : str
        As in the record.
    seal, seal_now : str
        The seal in the file, or ""; the seal of its present content.
    differs : str
        What changed since it was sealed, or "".
    released : bool
        The sled may have loaded the line; False if the drop was called off before.
    origin : str
        "measured", "rehearsed" or "imported".
    found : str
        The finding of the newest inspection of the article, or "".
    cfc : int or None
        Channel frequency class of the newest marks; 0 if there are none.
    calibration : str
        The calibration that the newest marks used instead of the record's own, in words.
    predicted_n : float or None
        Predicted peak of the drop.
    edited : str
        Entries changed after they were made, separated by "; "; or "".
    seal_version : int
        What the seal covers; from 2 on also status and entries.
    chain_head : str
        Head of the campaign's chain when it was begun, or "".
    entries : str
        Place, order and seal of every sealed entry, with blanks between, one a line.
    photos : str
        SHA-256 and name of every photo, one a line.
    first_damage_n : float or None
        Force at which the newest marks see the first damage.
    temperature_c, humidity_percent, condition, since_conditioning_h : ...
        As in the record; see `surroundings.Surroundings`.
    upper_n : float or None
        The limit force; see `trace.DropSetup.upper_n`.
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
    chain_head: str = ""
    entries: str = ""
    photos: str = ""
    first_damage_n: float | None = None
    temperature_c: float | None = None
    humidity_percent: float | None = None
    condition: str = ""
    since_conditioning_h: float | None = None
    upper_n: float | None = None

    def shown(self, units: Units = SI) -> tuple[str, str]:
        """The target, and the newest peak with its uncertainty as held against it; no units."""
        if self.peak_force_n is None:
            return force_text(self.target_n, units=units), "-"
        spread_n, levels_n = self.peak_force_expanded_u_n, (self.target_n, self.upper_n)
        peak = shown_force(self.peak_force_n, spread_n, levels_n, units)
        return "-" if self.target_n is None else peak.levels[0], peak.interval

    def shown_peak(self, units: Units = SI) -> str:
        """The peak of `shown`."""
        return self.shown(units)[1]

    @property
    def surroundings(self) -> Surroundings:
        """What was told of the air, and of line and article in it."""
        return Surroundings(
            self.temperature_c, self.humidity_percent, self.condition, self.since_conditioning_h
        )

    @property
    def path(self) -> Path:
        """The file."""
        return Path(self.file)

    @property
    def name(self) -> str:
        """Name of the file without its suffix."""
        return os.path.splitext(os.path.basename(self.file))[0]

    @property
    def rehearsed(self) -> bool:
        """Whether it is a rehearsal, and counts for nothing.

        A file that is not what was sealed is not believed when it says so.
        """
        return self.origin == REHEARSED and not self.differs

    @property
    def dropped(self) -> bool:
        """Whether it can be read and was not called off: line and mount may have been loaded."""
        return self.released and not self.problem

    @property
    def on_rig(self) -> bool:
        """Whether it is such a drop, and no rehearsal."""
        return self.dropped and not self.rehearsed

    @property
    def doubts(self) -> list[str]:
        """Doubts about the record's content, in words, for everything that shows it."""
        found = [f"NOT BELIEVED: {self.edited}"] if self.edited else []
        if self.differs and self.origin == REHEARSED:
            found.append(f"claims to be a rehearsal but was changed ({self.differs}): it counts")
        elif self.differs:
            found.append(f"changed since it was sealed: {self.differs}")
        return found

    @property
    def mark(self) -> str:
        """The mark to show with its name everywhere, or ""."""
        return MARK if self.origin == REHEARSED else IMPORTED if self.origin == IMPORTED else ""


def summary_of(path: Path) -> RecordSummary:
    """Summarize one file, or say why it cannot be read."""
    from tautlog.record import open_checked

    try:
        return summary_from(*open_checked(path))
    except RecordError as problem:
        return RecordSummary(str(path), problem=str(problem))


def summary_from(record: Record, check: SealCheck | None = None) -> RecordSummary:
    """Summarize an open record; without `check` its seal fields stay empty."""
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
        edited="; ".join(edit.text for edit in record.edited),
        seal_version=record.seal_version,
        chain_head=record.chain_head,
        entries=_entries(record),
        photos=_photos(record),
        first_damage_n=marks.first_damage_force_n,
        temperature_c=setup.temperature_c,
        humidity_percent=setup.humidity_percent,
        condition=setup.condition,
        since_conditioning_h=setup.since_conditioning_h,
        upper_n=setup.upper_n,
    )


def _entries(record: Record) -> str:
    seals = record.entry_seals
    return "\n".join(f"{place} {order} {_one_word(seal)}" for place, order, seal in seals)


def _photos(record: Record) -> str:
    return "\n".join(
        f"{_one_word(photo.sha256)} {' '.join(photo.name.splitlines())}" for photo in record.photos
    )


def _one_word(text: str) -> str:
    """A hash as it was found, without what would break its line."""
    return "".join(text.split())[:64] or "-"


def _decided(record: Record) -> tuple[str, str]:
    """The newest decision and who made it, or ""."""
    if not record.decisions:
        return "", ""
    return record.decisions[-1].verdict, record.decisions[-1].by


def _overruled(record: Record, now: set[str]) -> list[str]:
    """Test verdicts decided or proposed earlier that are neither now."""
    verdicts = [word for made in record.decisions for word in (made.proposed, made.verdict)]
    return sorted(set(verdicts) - now - {"", "pending"})


def exposes(record: Record) -> bool:
    """Whether a record's drop may have loaded the line and the mount.

    A measured contact counts, even if the recording failed.
    """
    if record.released:
        return True
    marks = marks_of(record)
    return marks is not None and marks.peak_force_n is not None


def marks_of(record: Record) -> KeptMarks | None:
    """The newest marks of a record, or None.

    Marks that were edited are not believed: the record is marked again. A drop that ended
    badly may have no marks although it loaded line and mount: it is marked here, and nothing
    is kept.
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
