"""Quick look: marks and draws a new record, and keeps both with it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from tautlog.archive.assess import AS_BEFORE, assess, recalibrated
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import keep_marks
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError
from tautlog.model.display_units import SI, Units
from tautlog.record import Record, open_record


def picture_of(record: Record, drop: Assessment, path: Path) -> Path:
    """Draw a record to a new file, with its prediction behind it."""
    # Imported late: drawing takes as long to import as everything else together.
    from tautlog.display.pictures.drop import draw_drop
    from tautlog.display.pictures.image import save
    from tautlog.planning.expected import expected_from

    setup = record.setup
    what = ", ".join(
        text
        for text in (
            record.campaign,
            setup.article,
            setup.line,
            drop.units.text(setup.mass_kg, "kg", "g") if setup.mass_kg else "",
            drop.units.text(setup.height_m, "m", "g") if setup.height_m else "",
            record.utc,
        )
        if text
    )
    title = f"{record.path.name}: {what}"
    expected = expected_from(drop.predicted, drop.units)
    save(draw_drop(drop, title, expected), path)
    return path


def mark_new(path: Path, *, cfc: int | None = AS_BEFORE) -> Assessment:
    """Mark a new record and keep the marks and the campaign's prediction with it."""
    return mark_again(path, cfc=cfc)


def mark_again(
    path: Path,
    *,
    cfc: int | None = AS_BEFORE,
    zero: str = "",
    calibration: str | None = None,
    by: str = "",
    reason: str = "",
    budgets: bool = False,
) -> Assessment:
    """Mark a record once more and keep the marks beside the earlier ones.

    Parameters
    ----------
    cfc, zero : int or None, str
        See `assess`.
    calibration, by, reason : str
        Another calibration, and who chose it, see `recalibrated`.
    budgets : bool
        Keep each uncertainty part by part.

    Raises
    ------
    RecordError, CampaignError
        If the record or the calibration cannot be read. That marks are not kept is the
        assessment's `problem`.
    """
    from tautlog.planning.expected import expectations_at

    record = recalibrated(open_record(path), calibration, by=by, reason=reason)
    drop = assess(record, cfc=cfc, zero=zero, expectations=expectations_at(path))
    return replace(drop, problem=keep_marks(record, drop, budgets=budgets))


def draw_new(path: Path, drop: Assessment) -> Path:
    """Draw a new record to a file next to it."""
    return picture_of(open_record(path), drop, picture_path(path))


def finish_new(
    path: Path,
    stop: StopRequest,
    judged: Callable[[Assessment], None],
    *,
    cfc: int | None = AS_BEFORE,
    units: Units = SI,
) -> Assessment:
    """Mark a new record, let its verdict be shown, and draw it, which takes longest.

    Parameters
    ----------
    stop : StopRequest
        Listening. Only three signals end this.
    judged : callable
        Shows the verdict; must not raise.
    units : Units
        Units in which it is shown and drawn.

    Raises
    ------
    AbortedError
        If somebody would not wait. It says what is done and what is not.
    """
    with _aborted_if_left(path, stop) as done:
        assessment = replace(mark_new(path, cfc=cfc), units=units)
        done.append("marked")
        judged(assessment)
        draw_new(path, assessment)
    return assessment


@contextlib.contextmanager
def _aborted_if_left(path: Path, stop: StopRequest) -> Iterator[list[str]]:
    """Turn three signals into an error that says how far the record has come."""
    done: list[str] = []
    try:
        with stop.at_insistence():
            yield done
    except KeyboardInterrupt as problem:
        is_marked = "marked" in done
        state = "it is marked and not drawn" if is_marked else "IT IS NOT MARKED YET"
        raise AbortedError(
            f"left by {stop.why}: {path} is whole on disk, {state}; `tautlog mark {path}` "
            "judges it at any time"
        ) from problem


def picture_path(path: Path) -> Path:
    """Where the picture of a new record goes: next to it."""
    return path.with_suffix(".png")
