"""Assess: the only way from a record to its assessment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from tautlog.analysis.beyond import with_excerpt
from tautlog.analysis.filters import CLASSES
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import ZEROS, mark
from tautlog.archive.assessment import Assessment, CalibrationUse
from tautlog.archive.beside import beside, with_findings
from tautlog.archive.kept_marks import marks_in
from tautlog.archive.other_calibration import choose, corrected_since
from tautlog.errors import CampaignError, RecordError
from tautlog.model.channels import channel_for
from tautlog.model.predicted import Predicted
from tautlog.model.trace import DropSetup, Trace
from tautlog.record import Record, excerpted

USUAL_CLASS = 180
AS_BEFORE = 0  # not a class: take that of the newest marks, or 180 if there are none


class Predictor(Protocol):
    """Predicts drops from a campaign; see `planning.expected`."""

    def of(self, setup: DropSetup, before_utc: str = "") -> Predicted | None:
        """Predict a drop from what was known before a given time."""


def assess(
    record: Record,
    *,
    trace: Trace | None = None,
    cfc: int | None = AS_BEFORE,
    zero: str = "",
    expectations: Predictor | None = None,
) -> Assessment:
    """Mark and judge a record.

    Every figure of a record comes from here. By default it is made with the settings of the
    newest marks.

    Parameters
    ----------
    record : Record
        The record.
    trace : Trace or None
        The trace of `excerpted(record)`, if it was read already.
    cfc, zero : int or None, str
        As for `marking.mark`; `AS_BEFORE` and "" take those of the newest marks.
    expectations : Predictor or None
        Its campaign's predictor, for a record without a prediction of its own.
    """
    record = excerpted(record)  # first: it refuses what is too long to be read
    differs = record.verify_seal().differs
    setup = replace(record.inspected_setup, not_sealed=", ".join(differs) or None)
    cfc, zero = _as_before(record, cfc, zero)
    trace = record.trace() if trace is None else trace
    marks = mark(trace, setup, cfc=cfc, zero=zero)
    others = beside(record, marks, trace, setup, zero)
    legs = len(others.legs.legs) if others.legs else 1
    marks = with_excerpt(with_findings(marks, others), trace, record.excerpt, legs)
    return Assessment(
        marks,
        judge(marks, setup, others.loaded(marks)),
        setup,
        path=record.path,
        zero=zero,
        origin=record.origin,
        edited=tuple(edit.text for edit in record.edited),
        decision=record.decisions[-1] if record.decisions else None,
        calibration=_calibration(record),
        predicted=predicted_of(record, expectations),
        beside=others,
    )


def _as_before(record: Record, cfc: int | None, zero: str) -> tuple[int | None, str]:
    """Class and zero as asked for, else as in the newest marks; the defaults if these make none."""
    before = record.marks[-1].settings if record.marks else {}
    if cfc == AS_BEFORE:
        cfc = before.get("cfc", USUAL_CLASS)
        if cfc is not None and not (isinstance(cfc, int) and cfc in CLASSES):
            cfc = USUAL_CLASS
    if not zero:
        kept = before.get("zero")
        zero = kept if kept in ZEROS else ZEROS[0]
    return cfc, zero


def class_to_begin_with(records: Sequence[Record], cfc: int | None) -> int | None:
    """The class for several records in one window; by default that of the first record."""
    return _as_before(records[0], cfc, "")[0]


def _calibration(record: Record) -> CalibrationUse:
    used, recorded, chosen = record.calibration_used, record.calibration, record.recalibration
    if chosen and chosen.channel:
        leg = channel_for(record.channels, chosen.channel)
        used = chosen.calibration
        recorded = leg.calibration or recorded
    corrected = "" if record.rehearsed else corrected_since(record.path, used)
    return CalibrationUse(recorded, chosen, corrected)


def predicted_of(record: Record, expectations: Predictor | None = None) -> Predicted | None:
    """The prediction for a drop: that of the day, if it was kept. A rehearsal has none.

    Parameters
    ----------
    record : Record
        The record.
    expectations : Predictor or None
        Its campaign's predictor, asked if no prediction of the day was kept; default: take
        the newest kept prediction.
    """
    if record.rehearsed:
        return None
    runs = [marks_in(run.result) for run in record.marks]
    kept = [marks.predicted for marks in runs if marks and marks.predicted]
    for predicted in kept:
        if predicted.on_the_day:
            return predicted
    if expectations is not None:
        return expectations.of(record.setup, record.utc)
    return kept[-1] if kept else None


def recalibrated(record: Record, which: str | None, *, by: str, reason: str) -> Record:
    """A record with another calibration; unchanged if none is asked for.

    Parameters
    ----------
    record : Record
        The record.
    which : str or None
        As for `other_calibration.choose`.
    by, reason : str
        Who chooses it, and why.

    Raises
    ------
    CampaignError
        If the name or reason is missing, or there is no such calibration.
    RecordError
        If the record is imported: its values came as forces.
    """
    if which is None:
        if by or reason:
            raise CampaignError("--by and --reason need --calibration: name the calibration")
        return record
    if record.instrument is None:
        raise RecordError(
            f"{record.path} is an imported trace and its values came as forces: no calibration "
            "of this rig applies to them",
            path=str(record.path),
        )
    names = record.instrument.channels
    chosen = choose(which, record.path, record.calibration, by=by, reason=reason, names=names)
    return replace(record, recalibration=chosen)
