"""Quick look: a new record marked, drawn, and both kept beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tautlog.archive.assess import AS_BEFORE, assess
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import keep_marks
from tautlog.record import Record, open_record


def picture_of(record: Record, one: Assessment, path: Path) -> Path:
    """Draw a record to a new file, over what was predicted of it."""
    # Drawing takes as long to import as all else together.
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
            f"{setup.mass_kg:g} kg" if setup.mass_kg else "",
            f"{setup.height_m:g} m" if setup.height_m else "",
            record.utc,
        )
        if text
    )
    title = f"{record.path.name}: {what}"
    expected = expected_from(one.predicted)
    save(draw_drop(one, title, expected), path)
    return path


def mark_new(path: Path, *, cfc: int | None = AS_BEFORE) -> Assessment:
    """Mark a new record and keep the marks with it, and what its campaign let expect."""
    from tautlog.planning.expected import expectations_at

    record = open_record(path)
    one = assess(record, cfc=cfc, expectations=expectations_at(path))
    return replace(one, problem=keep_marks(record, one))


def draw_new(path: Path, one: Assessment) -> Path:
    """Draw a new record beside itself."""
    return picture_of(open_record(path), one, path.with_suffix(".png"))
