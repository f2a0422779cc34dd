"""``tautlog show``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.model.origin import MARK, MEASURED

if TYPE_CHECKING:
    from tautlog.archive.assessment import Assessment

PAGES = ("drop", "contact", "stretch", "spectrum")


@click.command(name="show")
@click.argument("records", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Picture to make; .png, .svg or .pdf.",
)
@click.option("--window", "in_window", is_flag=True, help="A window to zoom and measure in.")
@click.option(
    "--page",
    type=click.Choice(PAGES),
    help="drop: the whole; contact: aligned at onset; stretch: force over stretch; spectrum: of "
    "force, and shock response.",
)
@options.cfc_option
def command(
    records: tuple[Path, ...], out: Path | None, in_window: bool, page: str | None, cfc: str | None
) -> None:
    """Draw records to a file, or show them in a window.

    One record is drawn as a whole, several are laid over one another, the moment at which
    the line came taut in common. An existing file is never overwritten. In the window,
    pages and class can be changed, and two cursors read time and force of any sample.
    """
    if (out is None) == (not in_window):
        raise click.UsageError("give either --out FILE or --window")
    from tautlog.record import open_record

    page = page or ("drop" if len(records) == 1 else "contact")
    number = options.class_of(cfc)
    opened = [open_record(path) for path in records]
    if in_window:
        from tautlog.archive.assess import class_to_begin_with
        from tautlog.display.window import open_window

        open_window(opened, page=page, cfc=class_to_begin_with(opened, number))
        return
    assert out is not None
    if page == "drop" and len(opened) > 1:
        raise click.UsageError("--page drop draws one record; --page contact several")
    from tautlog.archive.assess import assess
    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.panels import draw_view
    from tautlog.display.quick_look import picture_of
    from tautlog.display.views import NamedDrop, view
    from tautlog.planning.expected import expectations_at

    drops = [assess(one, cfc=number, expectations=expectations_at(one.path)) for one in opened]
    if page == "drop":
        picture_of(opened[0], drops[0], out)
    else:
        save(draw_view(view(page, [NamedDrop(_named(one), one) for one in drops])), out)
    click.echo(str(out))


def _named(one: Assessment) -> str:
    """Name of a curve, with what must not be taken for granted of it."""
    told = [one.path.stem]
    if one.origin != MEASURED:
        told.append(MARK if one.rehearsed else one.origin)
    if one.marks.cfc != 180:
        told.append(f"CFC {one.marks.cfc or 'none'}")
    if one.predicted:
        told.append(f"predicted {one.predicted.peak_force_n:.0f} N")
    if one.calibration.chosen:
        told.append(f"calibration {one.calibration.chosen.file or 'own'}")
    return ", ".join(told)
