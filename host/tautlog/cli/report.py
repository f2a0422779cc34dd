"""``tautlog report``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.display.report.places import Opened


@click.command(name="report")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE.html", help="Name of the new file."
)
@click.option(
    "--pdf", type=click.Path(path_type=Path), metavar="FILE.pdf", help="Write a PDF, too."
)
@options.cfc_option
@options.rehearsed_option
@options.json_option
def command(
    places: tuple[Path, ...],
    out: Path | None,
    pdf: Path | None,
    cfc: str | None,
    rehearsed: bool,
    as_json: bool,
) -> None:
    """Write a report on one drop or on a campaign: one HTML file that needs nothing else.

    Every drop is in it, invalid drops too, with its newest marks. You can zoom the curves and
    read them with the pointer; in print they are pictures. Rehearsals are left out.
    """
    from tautlog.display.report.page import write_html
    from tautlog.display.report.places import contents_at, opened_at

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    _refuse_taken(path, pdf)
    campaign = _campaign_of({folder or place.parent for place in asked})
    opened = opened_at(asked, rehearsed=rehearsed)
    contents = contents_at(opened, campaign, folder, options.class_of(cfc))
    write_html(path, contents)
    if pdf is not None:
        from tautlog.display.report.paper import write_pdf

        write_pdf(pdf, contents)
    _say_end(opened, path, pdf, as_json)


def _refuse_taken(*places: Path | None) -> None:
    from tautlog.files.new_file import refuse_taken

    for place in places:
        if place is not None:
            refuse_taken(place)


def _campaign_of(homes: set[Path]) -> Campaign | None:
    """The campaign whose folder holds all the records, or None."""
    from tautlog.files.campaign_folder import CAMPAIGN_FILE

    home = homes.pop() if len(homes) == 1 else None
    if home is None or not (home / CAMPAIGN_FILE).is_file():
        return None
    return options.campaign_at(home, to_drop=False)


def _say_end(opened: Opened, path: Path, pdf: Path | None, as_json: bool) -> None:
    """Say what was written; raise an error if a file is missing from it."""
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    count, unreadable = len(opened.records), opened.unreadable
    if as_json:
        made = {"report": str(path), "pdf": str(pdf) if pdf else None, "drops": count}
        print_json({**made, "unreadable": [str(summary.path) for summary in unreadable]})
    else:
        click.echo(f"report {path}" + (f"\npdf    {pdf}" if pdf else ""))
        if opened.left_out:
            number = len(opened.left_out)
            click.echo(f"rehearsals left out: {number} (--rehearsed shows them; they never count)")
    if unreadable:
        raise RecordError(
            f"the report is written without {len(unreadable)} of {count + len(unreadable)} files, "
            f"which it names; the first: {unreadable[0].problem}",
            path=str(unreadable[0].path),
        )


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
