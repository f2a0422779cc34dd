"""Quick look: marks, verdicts and picture of a record, kept with it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautlog.curve import ForceCurve
from tautlog.errors import RecordError
from tautlog.judge import as_json, budgets_as_json, judge
from tautlog.marking import mark
from tautlog.record import Record, add_marks, open_record
from tautlog.trace import Trace

if TYPE_CHECKING:  # marking needs no plan
    from tautlog.campaign import Campaign

Marked = dict[str, Any]


@dataclass(frozen=True)
class Look:
    """What was seen of a record.

    Attributes
    ----------
    marked : dict
        Figures and verdicts, as ``tautlog mark --json`` prints them.
    curve : ForceCurve
        The force that they were taken from.
    """

    marked: Marked
    curve: ForceCurve


def look_at(
    record: Record,
    *,
    trace: Trace | None = None,
    cfc: int | None = 180,
    zero: str = "slack",
    budget: bool = False,
) -> Look:
    """Mark and judge a record.

    Parameters
    ----------
    record : Record
        The record.
    trace : Trace or None
        Its trace, where it was read already.
    cfc, zero : int or None, str
        As for `marking.mark`.
    budget : bool
        Add the uncertainty of the figures that decide, part by part.
    """
    setup = record.inspected_setup
    marks = mark(record.trace() if trace is None else trace, setup, cfc=cfc, zero=zero)
    marked = as_json(marks, judge(marks, setup), str(record.path))
    marked["decision"] = _decision(record)
    if budget:
        marked["budgets"] = budgets_as_json(marks)
    assert marks.curve is not None
    return Look(marked, marks.curve)


def mark_record(
    record: Record, *, cfc: int | None = 180, zero: str = "slack", budget: bool = False
) -> Marked:
    """Marks and verdicts of a record, without the curve; as `look_at`."""
    return look_at(record, cfc=cfc, zero=zero, budget=budget).marked


def _decision(record: Record) -> dict[str, Any] | None:
    """What a named person decided last, beside what had been proposed."""
    if not record.decisions:
        return None
    return {key: one for key, one in asdict(record.decisions[-1]).items() if key != "number"}


def keep_marks(path: Path, marked: Marked, *, cfc: int | None, zero: str) -> str:
    """Append a marking run to its record; why not, when the record cannot be written."""
    try:
        add_marks(path, {"cfc": cfc, "zero": zero}, marked)
    except RecordError as problem:
        return str(problem)
    return ""


def picture_of(record: Record, look: Look, path: Path, campaign: Campaign | None = None) -> Path:
    """Draw a record to a new file, over what its campaign lets expect."""
    # Drawing takes as long to import as all else together.
    from tautlog import picture
    from tautlog.expected import expected_of

    setup = record.setup
    what = ", ".join(
        text
        for text in (
            record.campaign,
            setup.article,
            setup.line,
            f"{setup.mass_kg:g} kg" if setup.mass_kg else "",
            f"{setup.height_m:g} m" if setup.height_m else "",
            record.utc,
        )
        if text
    )
    title = f"{record.path.name}: {what}"
    expected = expected_of(campaign, setup)
    picture.save(picture.draw(look.curve, look.marked, title, expected), path)
    return path


def mark_new(path: Path, *, cfc: int | None = 180) -> Look:
    """Mark a new record and keep the marks with it."""
    look = look_at(open_record(path), cfc=cfc)
    keep_marks(path, look.marked, cfc=cfc, zero="slack")
    return look


def draw_new(path: Path, look: Look, campaign: Campaign | None = None) -> Path:
    """Draw a new record beside itself."""
    return picture_of(open_record(path), look, path.with_suffix(".png"), campaign)
