"""Kept marks: a drop as JSON, as it is printed and kept with its record, and read again.

`as_json` is the one place that makes it, `KeptMarks` what the rest of the program reads of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from tautlog.archive.assessment import Assessment, CalibrationTold
from tautlog.archive.marks_json import as_json as marks_as_json
from tautlog.archive.marks_json import budgets_as_json
from tautlog.errors import RecordError
from tautlog.model.predicted import Predicted, predicted_in
from tautlog.record import Record, add_marks

VERDICT_KEYS = ("record_verdict", "load_verdict", "trace_says", "test_verdict")
HEADLINE = ("peak_force_n", *VERDICT_KEYS)  # what a reader wants to know of marks first
COMPARED = ("peak_force_n", "cfc", *VERDICT_KEYS)


def as_json(one: Assessment, *, budgets: bool = False) -> dict[str, object]:
    """A drop as ``tautlog mark --json`` prints it, and as it is kept with its record.

    Parameters
    ----------
    one : Assessment
        The drop.
    budgets : bool
        With the uncertainty of the figures that decide, part by part.
    """
    told: dict[str, object] = marks_as_json(one.marks, one.verdict, str(one.path))
    told["zero"] = one.zero
    told["origin"] = one.origin
    told["edited"] = list(one.edited)
    told["decision"] = None
    if one.decision:
        told["decision"] = {k: v for k, v in asdict(one.decision).items() if k != "number"}
    told["calibration"] = _calibration_json(one.calibration)
    told["predicted"] = asdict(one.predicted) if one.predicted else None
    if budgets:
        told["budgets"] = budgets_as_json(one.marks)
    return told


def _calibration_json(one: CalibrationTold) -> dict[str, object]:
    used, chosen = one.used, one.chosen
    names = ("newton_per_volt", "expanded_u_fraction", "expanded_u_n", "range_n", "date", "note")
    told: dict[str, object] = {name: getattr(used, name) for name in names}
    told["corrected"] = one.corrected
    for name in ("file", "sha256", "by", "reason", "utc"):
        told[name] = getattr(chosen, name) if chosen else ""
    if chosen:
        told["recorded_newton_per_volt"] = one.recorded.newton_per_volt
    return told


@dataclass(frozen=True)
class KeptMarks:
    """What one marking run says, as far as lists, ledger and lessons read it.

    None where it does not say; names and meaning as in `Marks` and `Verdict`, and `predicted`
    as in `Assessment`. `cfc` is 0 where nothing is said of a class, `odd` names figures that are
    told and are no numbers.
    """

    record_verdict: str | None = None
    load_verdict: str | None = None
    trace_says: str | None = None
    test_verdict: str | None = None
    predicted: Predicted | None = None
    cfc: int | None = 0
    clipped: bool = False
    gap_in_contact: bool = False
    peak_force_n: float | None = None
    peak_force_expanded_u_n: float | None = None
    line_stiffness_n_per_m: float | None = None
    hardening_per_m2: float | None = None
    damping_ratio: float | None = None
    friction_n: float | None = None
    fall_time_s: float | None = None
    odd: tuple[str, ...] = ()

    def headline(self) -> dict[str, float | str | None]:
        """Peak and verdicts, by their names in JSON."""
        return {name: getattr(self, name) for name in HEADLINE}


_NUMBERS = (
    *("peak_force_n", "peak_force_expanded_u_n", "line_stiffness_n_per_m", "hardening_per_m2"),
    *("damping_ratio", "friction_n", "fall_time_s"),
)


def marks_in(result: Mapping[str, Any]) -> KeptMarks | None:
    """What the JSON object of a marking run says; None where it is empty."""
    if not result:
        return None
    cfc = result.get("cfc", 0)
    read: dict[str, Any] = {name: _text(result.get(name)) for name in VERDICT_KEYS}
    read |= {name: _number(result.get(name)) for name in _NUMBERS}
    return KeptMarks(
        **read,
        predicted=predicted_in(result.get("predicted")),
        cfc=cfc if isinstance(cfc, int) else None,
        clipped=bool(result.get("clipped")),
        gap_in_contact=bool(result.get("gap_in_contact")),
        odd=tuple(one for one in _NUMBERS if result.get(one) is not None and read[one] is None),
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value)
    except OverflowError:  # a whole number beyond all that is measured
        return None


def marks_from(one: Assessment) -> KeptMarks:
    """What the marks of a drop will say once they are kept."""
    marks = marks_in(as_json(one))
    assert marks is not None
    return marks


def newest_marks(record: Record) -> KeptMarks | None:
    """The newest marks of a record; None without any."""
    return marks_in(record.marks[-1].result) if record.marks else None


def settings_of(record: Record) -> tuple[int | None, str]:
    """Class and zero of the newest marks; those of a new record without any."""
    before = record.marks[-1].settings if record.marks else {}
    cfc = before.get("cfc", 180)
    return cfc if isinstance(cfc, int) else None, str(before.get("zero") or "slack")


def keep_marks(record: Record, one: Assessment, *, budgets: bool = False) -> str:
    """Append a marking run to its record; why not, when the record cannot be written."""
    settings: dict[str, object] = {"cfc": one.marks.cfc, "zero": one.zero}
    if record.recalibration:
        settings["calibration"] = record.recalibration.told()
    try:
        add_marks(record.path, settings, as_json(one, budgets=budgets))
    except RecordError as problem:
        return str(problem)
    return ""


def as_kept(record: Record, one: Assessment) -> bool:
    """Whether marks say what the newest ones say that are kept with the record."""
    return newest_marks(record) is not None and not _differences(record, one)


def unlike_kept(record: Record, one: Assessment) -> str:
    """In words, what the newest marks say otherwise that are kept with a record; "" for nothing."""
    told = _differences(record, one)
    if not told:
        return ""
    newest = record.marks[-1]
    return (
        f"the newest marks kept with the record, of {newest.utc[:10]} by {newest.software}, say "
        f"{'; '.join(told)}: `tautlog mark` makes them one"
    )


def _differences(record: Record, one: Assessment) -> list[str]:
    kept = newest_marks(record)
    if kept is None:
        return []
    now = marks_from(one)
    pairs = [(name, getattr(kept, name), getattr(now, name)) for name in COMPARED]
    return [f"{name} {before}, here {here}" for name, before, here in pairs if before != here]
