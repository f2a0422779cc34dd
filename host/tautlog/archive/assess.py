"""Assess: the one way from a record to its assessment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment, CalibrationTold
from tautlog.archive.kept_marks import marks_in, settings_of
from tautlog.archive.other_calibration import choose, corrected_since
from tautlog.errors import CampaignError, RecordError
from tautlog.model.predicted import Predicted
from tautlog.model.trace import DropSetup, Trace
from tautlog.record import Record

AS_BEFORE = 0  # a class that is none: as the newest marks were made, 180 without any


class Expectations(Protocol):
    """What a campaign lets expect of a drop; see `planning.expected`."""

    def of(self, setup: DropSetup, before_utc: str = "") -> Predicted | None:
        """Predict a drop by what was known before a moment."""


def assess(
    record: Record,
    *,
    trace: Trace | None = None,
    cfc: int | None = AS_BEFORE,
    zero: str = "",
    expectations: Expectations | None = None,
) -> Assessment:
    """Mark and judge a record.

    Nothing else makes figures of a record: whoever shows some asks here, and where nobody
    says otherwise they are made as they were when they were last kept.

    Parameters
    ----------
    record : Record
        The record.
    trace : Trace or None
        Its trace, where it was read already.
    cfc, zero : int or None, str
        As for `marking.mark`; `AS_BEFORE` and "" for those of the newest marks.
    expectations : Expectations or None
        Of its campaign, for a record of which nobody predicted anything yet.
    """
    differs = record.verify_seal().differs
    setup = replace(record.inspected_setup, not_sealed=", ".join(differs) or None)
    cfc, zero = _as_before(record, cfc, zero)
    marks = mark(record.trace() if trace is None else trace, setup, cfc=cfc, zero=zero)
    return Assessment(
        marks,
        judge(marks, setup),
        setup,
        path=record.path,
        zero=zero,
        origin=record.origin,
        edited=tuple(one.text for one in record.edited),
        decision=record.decisions[-1] if record.decisions else None,
        calibration=_calibration(record),
        predicted=predicted_of(record, expectations),
    )


def _as_before(record: Record, cfc: int | None, zero: str) -> tuple[int | None, str]:
    """Class and zero as asked for, else as in the newest marks."""
    cfc_before, zero_before = settings_of(record)
    return cfc_before if cfc == AS_BEFORE else cfc, zero or zero_before


def class_to_begin_with(records: Sequence[Record], cfc: int | None) -> int | None:
    """The class for several records in one window: as asked, else that of the first's marks."""
    return _as_before(records[0], cfc, "")[0]


def _calibration(record: Record) -> CalibrationTold:
    used = record.calibration_used
    corrected = "" if record.rehearsed else corrected_since(record.path, used)
    return CalibrationTold(record.calibration, record.recalibration, corrected)


def predicted_of(record: Record, expectations: Expectations | None = None) -> Predicted | None:
    """What was predicted of a drop: on the day, if that was kept; a rehearsal has none.

    Parameters
    ----------
    record : Record
        The record.
    expectations : Expectations or None
        What its campaign lets expect, where nothing was kept on the day; without it the
        newest marks are asked.
    """
    if record.rehearsed:
        return None
    runs = [marks_in(one.result) for one in record.marks]
    kept = [one.predicted for one in runs if one and one.predicted]
    for one in kept:
        if one.on_the_day:
            return one
    if expectations is not None:
        return expectations.of(record.setup, record.utc)
    return kept[-1] if kept else None


def recalibrated(record: Record, which: str | None, *, by: str, reason: str) -> Record:
    """A record that is marked with another calibration; as it is where none is asked for.

    Parameters
    ----------
    record : Record
        The record.
    which : str or None
        As for `recalibration.choose`.
    by, reason : str
        On whose word, and why.

    Raises
    ------
    CampaignError
        If name or reason lack, or there is no such calibration.
    RecordError
        If the record is imported: its values came as forces.
    """
    if which is None:
        if by or reason:
            raise CampaignError("--by and --reason go with --calibration: say which one")
        return record
    if record.instrument is None:
        raise RecordError(
            f"{record.path} is an imported trace, whose values came as forces: no calibration of "
            "this rig says anything of them",
            path=str(record.path),
        )
    chosen = choose(which, record.path, record.calibration, by=by, reason=reason)
    return replace(record, recalibration=chosen)
