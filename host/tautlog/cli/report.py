"""``tautlog report``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.archive import RecordSummary
    from tautlog.record import Record


@click.command(name="report")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.html", help="New file.")
@click.option("--pdf", type=click.Path(path_type=Path), metavar="FILE.pdf", help="A PDF as well.")
@options.cfc_option
@options.json_option
def command(
    places: tuple[Path, ...], out: Path | None, pdf: Path | None, cfc: str, as_json: bool
) -> None:
    """Write one page on a drop, or a report on a campaign: one HTML file, needing nothing else.

    Every drop is in it, also invalid ones, marked anew with this program. Curves can be
    zoomed and read with a pointer; printed, they are pictures.
    """
    from tautlog.batch import records_in
    from tautlog.campaign import read_campaign
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError
    from tautlog.folder import CAMPAIGN_FILE
    from tautlog.newfile import refuse_taken
    from tautlog.report import contents_of, read_sources, write_html

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    for place in (path, pdf):
        if place is not None:
            refuse_taken(place)
    homes = {folder or one.parent for one in asked}
    home = homes.pop() if len(homes) == 1 else None
    campaign = read_campaign(home) if home and (home / CAMPAIGN_FILE).is_file() else None
    records, unreadable = _opened(records_in(asked))
    if not records:
        raise RecordError(f"no record that can be read in {', '.join(map(str, asked))}")
    sources = read_sources(records, options.class_of(cfc), campaign)
    contents = contents_of(sources, campaign=campaign, unreadable=unreadable, folder=folder)
    write_html(path, contents)
    if pdf is not None:
        from tautlog.report_pdf import write_pdf

        write_pdf(pdf, contents)
    if as_json:
        told = {"report": str(path), "pdf": str(pdf) if pdf else None, "drops": len(sources)}
        print_json({**told, "unreadable": [str(one.path) for one in unreadable]})
        return
    click.echo(f"report {path}" + (f"\npdf    {pdf}" if pdf else ""))


def _opened(paths: list[Path]) -> tuple[list[Record], list[RecordSummary]]:
    """The records, and what is said of those that cannot be read."""
    from tautlog.archive import RecordSummary
    from tautlog.errors import RecordError
    from tautlog.record import open_record

    records, unreadable = [], []
    for path in paths:
        try:
            records.append(open_record(path))
        except RecordError as problem:
            unreadable.append(RecordSummary(str(path), problem=str(problem)))
    return records, unreadable


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
