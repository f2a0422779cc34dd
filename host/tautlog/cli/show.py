"""``tautlog show``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.model.origin import MARK, MEASURED, REHEARSED

if TYPE_CHECKING:
    from tautlog.archive.assess import Marked

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
    from tautlog.archive.assess import look_at
    from tautlog.display import picture
    from tautlog.display.quick_look import picture_of
    from tautlog.display.views import Shown, view
    from tautlog.planning.expected import expectations_at

    if page == "drop":
        (one,) = opened
        look = look_at(one, cfc=number, expectations=expectations_at(one.path))
        picture_of(one, look, out)
    else:
        shown = []
        for one in opened:
            look = look_at(one, cfc=number, expectations=expectations_at(one.path))
            shown.append(
                Shown(_named(one.path.stem, look.marked), look.curve, one.setup, look.marked)
            )
        picture.save(picture.draw_view(view(page, shown)), out)
    click.echo(str(out))


def _named(stem: str, marked: Marked) -> str:
    """Name of a curve, with what must not be taken for granted of it."""
    told = [stem]
    if marked["origin"] != MEASURED:
        told.append(MARK if marked["origin"] == REHEARSED else marked["origin"])
    if marked["cfc"] != 180:
        told.append(f"CFC {marked['cfc'] or 'none'}")
    if marked["predicted"]:
        told.append(f"predicted {marked['predicted']['peak_force_n']:.0f} N")
    if marked["calibration"]["by"]:
        told.append(f"calibration {marked['calibration']['file'] or 'own'}")
    return ", ".join(told)
