"""Kept marks: the JSON of a drop that is printed, kept with its record and read again.

`as_json` alone writes it. `KeptMarks` holds what the rest of the program reads from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from tautlog.archive.assessment import Assessment, CalibrationUse
from tautlog.archive.beside import as_json as beside_as_json
from tautlog.archive.marks_json import as_json as marks_as_json
from tautlog.archive.marks_json import budgets_as_json
from tautlog.errors import RecordError
from tautlog.model.predicted import Predicted, predicted_in
from tautlog.record import Record, add_marks

VERDICT_KEYS = ("record_verdict", "load_verdict", "trace_says", "test_verdict")
HEADLINE = ("peak_force_n", *VERDICT_KEYS)  # what a reader of marks wants first
COMPARED = {
    "peak_force_n": "peak force, N",
    "cfc": "class",
    "record_verdict": "record",
    "load_verdict": "load",
    "trace_says": "load path",
    "test_verdict": "test",
}


def as_json(assessment: Assessment, *, budgets: bool = False) -> dict[str, object]:
    """A drop as ``tautlog mark --json`` prints it and as its record keeps it.

    Parameters
    ----------
    assessment : Assessment
        The drop.
    budgets : bool
        Add the uncertainty budgets of the figures that decide.
    """
    made: dict[str, object] = marks_as_json(
        assessment.marks, assessment.verdict, str(assessment.path)
    )
    made["zero"] = assessment.zero
    made["origin"] = assessment.origin
    made["edited"] = list(assessment.edited)
    made["decision"] = None
    if assessment.decision:
        made["decision"] = {k: v for k, v in asdict(assessment.decision).items() if k != "number"}
    made["calibration"] = _calibration_json(assessment.calibration)
    made["predicted"] = asdict(assessment.predicted) if assessment.predicted else None
    made |= beside_as_json(assessment.beside)
    if budgets:
        made["budgets"] = budgets_as_json(assessment.marks)
    return made


def _calibration_json(use: CalibrationUse) -> dict[str, object]:
    used, chosen = use.used, use.chosen
    names = ("newton_per_volt", "expanded_u_fraction", "expanded_u_n", "range_n", "date", "note")
    made: dict[str, object] = {name: getattr(used, name) for name in names}
    made["corrected"] = use.corrected
    for name in ("file", "sha256", "by", "reason", "utc"):
        made[name] = getattr(chosen, name) if chosen else ""
    if chosen:
        made["recorded_newton_per_volt"] = use.recorded.newton_per_volt
    return made


@dataclass(frozen=True)
class KeptMarks:
    """The part of a marking run that lists, ledger and lessons read.

    Names and meaning as in `Marks` and `Verdict`, `predicted` as in `Assessment`; None where
    the run does not say. `cfc` is 0 if the run names no class. `odd` lists figures whose values
    are not numbers.
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
    first_damage_force_n: float | None = None
    line_stiffness_n_per_m: float | None = None
    hardening_per_m2: float | None = None
    damping_ratio: float | None = None
    friction_n: float | None = None
    fall_time_s: float | None = None
    taut_speed_m_s: float | None = None
    odd: tuple[str, ...] = ()

    def headline(self) -> dict[str, float | str | None]:
        """Peak and verdicts, under their JSON keys."""
        return {name: getattr(self, name) for name in HEADLINE}


_NUMBERS = (
    *("peak_force_n", "peak_force_expanded_u_n", "line_stiffness_n_per_m", "hardening_per_m2"),
    *("damping_ratio", "friction_n", "fall_time_s", "taut_speed_m_s", "first_damage_force_n"),
)


def marks_in(result: Mapping[str, Any]) -> KeptMarks | None:
    """Read the JSON object of a marking run; None if it is empty."""
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
        odd=tuple(key for key in _NUMBERS if result.get(key) is not None and read[key] is None),
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value)
    except OverflowError:  # an integer beyond any measured value
        return None


def marks_from(assessment: Assessment) -> KeptMarks:
    """The marks of a drop as a record would keep them."""
    marks = marks_in(as_json(assessment))
    assert marks is not None
    return marks


def newest_marks(record: Record) -> KeptMarks | None:
    """The newest marks of a record, or None."""
    return marks_in(record.marks[-1].result) if record.marks else None


def keep_marks(record: Record, assessment: Assessment, *, budgets: bool = False) -> str:
    """Append a marking run to its record; return why it cannot be written, or ""."""
    settings: dict[str, object] = {"cfc": assessment.marks.cfc, "zero": assessment.zero}
    if record.recalibration:
        settings["calibration"] = record.recalibration.as_json()
    try:
        add_marks(record.path, settings, as_json(assessment, budgets=budgets))
    except RecordError as problem:
        return str(problem)
    return ""


def as_kept(record: Record, assessment: Assessment) -> bool:
    """Whether the assessment agrees with the newest marks kept with the record."""
    return newest_marks(record) is not None and not _differences(record, assessment)


def unlike_kept(record: Record, assessment: Assessment) -> str:
    """How the assessment differs from the newest marks kept with the record, in words; or ""."""
    differences = _differences(record, assessment)
    if not differences:
        return ""
    newest = record.marks[-1]
    return (
        f"the newest marks kept with the record, of {newest.utc[:10]} by {newest.software}, "
        f"differ: {'; '.join(differences)}; `tautlog mark` keeps new ones"
    )


def _differences(record: Record, assessment: Assessment) -> list[str]:
    kept = newest_marks(record)
    if kept is None:
        return []
    now = marks_from(assessment)
    pairs = [(text, getattr(kept, key), getattr(now, key)) for key, text in COMPARED.items()]
    return [f"{name} {before}, here {here}" for name, before, here in pairs if before != here]
