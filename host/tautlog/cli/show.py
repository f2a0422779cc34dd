"""``tautlog show``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.quicklook import Marked
    from tautlog.record import Record

PAGES = ("drop", "contact", "stretch", "spectrum")


@click.command(name="show")
@click.argument("records", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    required=True,
    help="Picture to make; .png, .svg or .pdf.",
)
@click.option(
    "--page",
    type=click.Choice(PAGES),
    help="drop: the whole of one; contact: several, aligned at onset; stretch: force over "
    "stretch; spectrum: of force, and shock response.",
)
@options.cfc_option
def command(records: tuple[Path, ...], out: Path, page: str | None, cfc: str) -> None:
    """Draw records to a file; an existing one is never overwritten.

    One record is drawn as a whole, several are laid over one another, the moment at which
    the line came taut in common.
    """
    from tautlog import picture
    from tautlog.quicklook import mark_record, picture_of
    from tautlog.record import open_record

    page = page or ("drop" if len(records) == 1 else "contact")
    number = options.class_of(cfc)
    opened = [open_record(path) for path in records]
    marked = [(one, mark_record(one, cfc=number)) for one in opened]
    if page == "drop":
        if len(marked) > 1:
            raise click.UsageError("--page drop shows one record; --page contact several")
        picture_of(*marked[0], out)
    else:
        picture.save(_figure(page, marked), out)
    click.echo(str(out))


def _figure(page: str, marked: list[tuple[Record, Marked]]) -> Any:
    from tautlog import picture
    from tautlog.errors import RecordError
    from tautlog.views import over_stretch, since_onset, spectra

    title = ", ".join(record.path.stem for record, _ in marked)
    found: list[Any] = []
    for record, marks in marked:
        name, trace = record.path.stem, record.trace()
        if page == "contact":
            found.append(since_onset(name, trace, marks))
        elif page == "stretch":
            found.append(over_stretch(name, trace, marks, record.setup))
        else:
            found.append(spectra(name, trace, marks))
    missing = [
        record.path.name for (record, _), one in zip(marked, found, strict=True) if one is None
    ]
    if missing:
        needs = "a contact, mass and height" if page == "stretch" else "a whole contact"
        raise RecordError(f"{', '.join(missing)}: nothing to draw, this page needs {needs}")
    if page == "spectrum":
        upper, lower = zip(*found, strict=True)
        return picture.draw_spectra(_plain(upper), _plain(lower), title)
    first = marked[0][1]
    levels = [
        (name, first[f"{name}_force_n"]) for name in ("target", "limit") if first[f"{name}_force_n"]
    ]
    labels = {
        "contact": ("time since the line came taut, s", "force, N"),
        "stretch": ("stretch of line and rig, m", "force, N"),
    }[page]
    return picture.draw_curves(_plain(found), labels=labels, title=title, levels=levels)


def _plain(curves: Any) -> list[tuple[str, Any, Any]]:
    return [(one.name, one.x, one.y) for one in curves]
