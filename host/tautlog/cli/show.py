"""``tautlog show``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option

PAGES = ("drop", "contact", "stretch", "spectrum", "flight")
ALONE = ("drop", "flight")  # pages of one record


@click.command(name="show")
@click.argument("records", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Name of the new picture: .png, .svg or .pdf.",
)
@click.option(
    "--window", "in_window", is_flag=True, help="Open a window in which to zoom and measure."
)
@click.option(
    "--page",
    type=click.Choice(PAGES),
    help="drop: the whole drop; contact: curves aligned at onset; stretch: force over stretch; "
    "spectrum: force spectrum and shock response; flight: the drop over the "
    "flight that campaign.toml states.",
)
@options.cfc_option
@units_option
def command(
    records: tuple[Path, ...],
    out: Path | None,
    in_window: bool,
    page: str | None,
    cfc: str | None,
    named: tuple[str, ...],
) -> None:
    """Draw records to a file, or show them in a window.

    One record is drawn as a whole drop. Several records are drawn over one another, aligned
    where the line came taut. An existing file is never overwritten. In the window you can
    change page and class, and two cursors read time and force of any sample.
    """
    if (out is None) == (not in_window):
        raise click.UsageError("give either --out FILE or --window")
    from tautlog.record import open_record

    page = page or ("drop" if len(records) == 1 else "contact")
    number = options.class_of(cfc)
    opened = [open_record(path) for path in records]
    units = units_at(records[0], named)
    if in_window:
        if page == "flight":
            raise click.UsageError("--page flight is drawn to a file: give --out FILE")
        from tautlog.archive.assess import class_to_begin_with
        from tautlog.display.window import open_window

        open_window(opened, page=page, cfc=class_to_begin_with(opened, number), units=units)
        return
    assert out is not None
    if page in ALONE and len(opened) > 1:
        raise click.UsageError(
            f"--page {page} draws one record only: use --page contact for several"
        )
    from tautlog.archive.assess import assess
    from tautlog.display.overlay_words import curve_words
    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.panels import draw_view
    from tautlog.display.quick_look import picture_of
    from tautlog.display.views import NamedDrop, view
    from tautlog.planning.expected import expectations_at

    drops = [
        replace(assess(record, cfc=number, expectations=expectations_at(record.path)), units=units)
        for record in opened
    ]
    if page == "drop":
        picture_of(opened[0], drops[0], out)
    elif page == "flight":
        from tautlog.display.pictures.flight import draw_flight
        from tautlog.planning.against_flight import against_flight_at

        save(draw_flight(drops[0], against_flight_at(drops[0]), opened[0].path.stem), out)
    else:
        shown = [NamedDrop(curve_words(drop, page), drop) for drop in drops]
        # The legend says all of each drop, so that the title only names them.
        title = ", ".join(drop.path.stem for drop in drops)
        save(draw_view(replace(view(page, shown), title=title)), out)
    tell(str(out))
