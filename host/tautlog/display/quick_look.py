"""Quick look: a new record marked, drawn, and both kept beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tautlog.archive.assess import AS_BEFORE, Look, keep_marks, look_at
from tautlog.record import Record, open_record


def picture_of(record: Record, look: Look, path: Path) -> Path:
    """Draw a record to a new file, over what was predicted of it."""
    # Drawing takes as long to import as all else together.
    from tautlog.display import picture
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
    expected = expected_from(look.marked["predicted"])
    picture.save(picture.draw(look.curve, look.marked, title, expected), path)
    return path


def mark_new(path: Path, *, cfc: int | None = AS_BEFORE) -> Look:
    """Mark a new record and keep the marks with it, and what its campaign let expect."""
    from tautlog.planning.expected import expectations_at

    record = open_record(path)
    look = look_at(record, cfc=cfc, expectations=expectations_at(path))
    return replace(look, trouble=keep_marks(record, look.marked))


def draw_new(path: Path, look: Look) -> Path:
    """Draw a new record beside itself."""
    return picture_of(open_record(path), look, path.with_suffix(".png"))
