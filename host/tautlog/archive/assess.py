"""Assess: marks and verdicts of a record, made anew and kept with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Protocol

from tautlog.analysis.judge import as_json, budgets_as_json, judge
from tautlog.analysis.marking import mark
from tautlog.archive.recalibration import choose, corrected_since
from tautlog.errors import CampaignError, RecordError
from tautlog.model.force_curve import ForceCurve
from tautlog.model.trace import DropSetup, Trace
from tautlog.record import Record, add_marks

Marked = dict[str, Any]
VERDICT_KEYS = ("record_verdict", "load_verdict", "trace_says", "test_verdict")
AS_BEFORE = 0  # a class that is none: as the newest marks were made, 180 without any


class Expectations(Protocol):
    """What a campaign lets expect of a drop; see `planning.expected`."""

    def of(self, setup: DropSetup, before_utc: str = "") -> dict[str, Any] | None:
        """Predict a drop by what was known before a moment."""


@dataclass(frozen=True)
class Look:
    """What was seen of a record.

    Attributes
    ----------
    marked : dict
        Figures and verdicts, as ``tautlog mark --json`` prints them.
    curve : ForceCurve
        The force that they were taken from.
    trouble : str
        Why the marks are not kept with the record; "" where they are, or need not be.
    """

    marked: Marked
    curve: ForceCurve
    trouble: str = ""


def look_at(
    record: Record,
    *,
    trace: Trace | None = None,
    cfc: int | None = AS_BEFORE,
    zero: str = "",
    budget: bool = False,
    expectations: Expectations | None = None,
) -> Look:
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
    budget : bool
        Add the uncertainty of the figures that decide, part by part.
    expectations : Expectations or None
        Of its campaign, for a record of which nobody predicted anything yet.
    """
    differs = record.verify_seal().differs
    setup = replace(record.inspected_setup, not_sealed=", ".join(differs) or None)
    cfc, zero = _as_before(record, cfc, zero)
    marks = mark(record.trace() if trace is None else trace, setup, cfc=cfc, zero=zero)
    marked = as_json(marks, judge(marks, setup), str(record.path))
    marked["zero"] = zero
    marked["origin"] = record.origin
    marked["edited"] = [one.text for one in record.edited]
    marked["decision"] = _decision(record)
    marked["calibration"] = _calibration(record)
    marked["predicted"] = predicted_of(record, expectations)
    if budget:
        marked["budgets"] = budgets_as_json(marks)
    assert marks.curve is not None
    return Look(marked, marks.curve)


def mark_record(
    record: Record,
    *,
    trace: Trace | None = None,
    cfc: int | None = AS_BEFORE,
    zero: str = "",
    budget: bool = False,
    expectations: Expectations | None = None,
) -> Marked:
    """Marks and verdicts of a record, without the curve; as `look_at`."""
    return look_at(
        record, trace=trace, cfc=cfc, zero=zero, budget=budget, expectations=expectations
    ).marked


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


def _as_before(record: Record, cfc: int | None, zero: str) -> tuple[int | None, str]:
    """Class and zero as asked for, else as in the newest marks."""
    before = record.marks[-1].settings if record.marks else {}
    if cfc == AS_BEFORE:
        cfc = before.get("cfc", 180)
    return cfc, zero or str(before.get("zero") or "slack")


def class_to_begin_with(records: Sequence[Record], cfc: int | None) -> int | None:
    """The class for several records in one window: as asked, else that of the first's marks."""
    return _as_before(records[0], cfc, "")[0]


def _decision(record: Record) -> dict[str, Any] | None:
    """What a named person decided last, beside what had been proposed."""
    if not record.decisions:
        return None
    return {key: one for key, one in asdict(record.decisions[-1]).items() if key != "number"}


def _calibration(record: Record) -> dict[str, Any]:
    """What made forces of volts, and, where it is not the record's own, who chose it and why."""
    used, chosen = record.calibration_used, record.recalibration
    told = {
        "newton_per_volt": used.newton_per_volt,
        "expanded_u_fraction": used.expanded_u_fraction,
        "expanded_u_n": used.expanded_u_n,
        "range_n": used.range_n,
        "date": used.date,
        "note": used.note,
        "corrected": "" if record.rehearsed else corrected_since(record.path, used),
    }
    if chosen is None:
        return {**told, "file": "", "sha256": "", "by": "", "reason": "", "utc": ""}
    return {
        **told,
        **{name: getattr(chosen, name) for name in ("file", "sha256", "by", "reason", "utc")},
        "recorded_newton_per_volt": record.calibration.newton_per_volt,
    }


def predicted_of(record: Record, expectations: Expectations | None = None) -> dict[str, Any] | None:
    """What was predicted of a drop: on the day, if that was kept; a rehearsal has none.

    Parameters
    ----------
    record : Record
        The record.
    expectations : Expectations or None
        What its campaign lets expect, where nothing was kept on the day; without it the
        newest marks are asked.
    """
    kept = [one.result["predicted"] for one in record.marks if one.result.get("predicted")]
    on_the_day = next((one for one in kept if one.get("on_the_day")), None)
    if on_the_day or record.rehearsed:
        return None if record.rehearsed else on_the_day
    if expectations is not None:
        return expectations.of(record.setup, record.utc)
    return kept[-1] if kept else None


def keep_marks(record: Record, marked: Marked) -> str:
    """Append a marking run to its record; why not, when the record cannot be written."""
    settings: dict[str, Any] = {"cfc": marked["cfc"], "zero": marked["zero"]}
    if record.recalibration:
        settings["calibration"] = record.recalibration.told()
    try:
        add_marks(record.path, settings, marked)
    except RecordError as problem:
        return str(problem)
    return ""


KEPT = ("peak_force_n", "cfc", *VERDICT_KEYS)


def as_kept(record: Record, marked: Marked) -> bool:
    """Whether marks say what the newest ones say that are kept with the record."""
    kept = record.marks[-1].result if record.marks else {}
    return bool(kept) and all(kept.get(name) == marked[name] for name in KEPT)


def unlike_kept(record: Record, marked: Marked) -> str:
    """In words, what the newest marks say otherwise that are kept with a record; "" for nothing."""
    if not record.marks or as_kept(record, marked):
        return ""
    newest = record.marks[-1]
    told = [
        f"{name} {newest.result.get(name)}, here {marked[name]}"
        for name in KEPT
        if newest.result.get(name) != marked[name]
    ]
    return (
        f"the newest marks kept with the record, of {newest.utc[:10]} by {newest.software}, say "
        f"{'; '.join(told)}: `tautlog mark` makes them one"
    )
