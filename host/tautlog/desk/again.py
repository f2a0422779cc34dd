"""Again: a record marked in another class or by another calibration, and written for others."""

from __future__ import annotations

from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from tautlog.archive.assess import AS_BEFORE
from tautlog.desk.drop import entered_for
from tautlog.desk.forms import Entered
from tautlog.display.quick_look import mark_again
from tautlog.errors import RecordError
from tautlog.io.export import export_csv, export_uff
from tautlog.model.signature import signed
from tautlog.record import open_record

CLASSES: dict[str, int | None] = {
    "": AS_BEFORE,
    **{str(cfc): cfc for cfc in (60, 180, 600, 1000)},
    "none": None,
}
CALIBRATIONS = ("own", "newest")
KINDS = {"csv": export_csv, "uff": export_uff}


def _class(entered: Entered) -> int | None:
    name = entered.text("cfc")
    if name not in CLASSES:
        raise RecordError(f"class {name[:20]!r}: allowed are {', '.join(CLASSES)[2:]}")
    return CLASSES[name]


def mark(request: Request, entered: Entered) -> Response:
    """Mark a record again; the earlier marks stay."""

    def do(path: Path) -> None:
        calibration = entered.text("calibration") or None
        if calibration not in (None, *CALIBRATIONS):
            raise RecordError(f"calibration {calibration!r}: allowed are {', '.join(CALIBRATIONS)}")
        by, reason = signed(entered.text("by")), signed(entered.text("reason"))
        drop = mark_again(path, cfc=_class(entered), calibration=calibration, by=by, reason=reason)
        if drop.problem:
            raise RecordError(f"the marks are not kept: {drop.problem}")

    return entered_for(request, entered, do, "marks")


def export(request: Request, entered: Entered) -> Response:
    """Write a record's force over time to a new file beside it."""

    def do(path: Path) -> None:
        kind = entered.text("kind")
        if kind not in KINDS:
            raise RecordError(f"format {kind[:20]!r}: allowed are {', '.join(KINDS)}")
        KINDS[kind](open_record(path), path.with_suffix(f".{kind}"), cfc=_class(entered))

    return entered_for(request, entered, do, "export")
