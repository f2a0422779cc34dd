"""``tautlog report``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.archive.summary import RecordSummary
    from tautlog.campaign.campaign import Campaign
    from tautlog.campaign.ledger import Exposure
    from tautlog.record import Record


@click.command(name="report")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.html", help="New file.")
@click.option("--pdf", type=click.Path(path_type=Path), metavar="FILE.pdf", help="A PDF as well.")
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
    """Write one page on a drop, or a report on a campaign: one HTML file, needing nothing else.

    Every drop is in it, also invalid ones, marked by this program as it was marked last.
    Curves can be zoomed and read with a pointer; printed, they are pictures. Rehearsals are
    left out.
    """
    from tautlog.cli.output import print_json
    from tautlog.display.report import contents_of, read_sources, write_html
    from tautlog.errors import RecordError
    from tautlog.files.campaign_folder import CAMPAIGN_FILE
    from tautlog.files.new_file import refuse_taken

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    for place in (path, pdf):
        if place is not None:
            refuse_taken(place)
    homes = {folder or one.parent for one in asked}
    home = homes.pop() if len(homes) == 1 else None
    campaign = (
        options.campaign_at(home, to_drop=False)
        if home and (home / CAMPAIGN_FILE).is_file()
        else None
    )
    told, unreadable, left = _opened(_files(asked), rehearsed=rehearsed)
    if not told:
        only = "; rehearsals are left out: --rehearsed shows them" if left else ""
        raise RecordError(f"no record that can be read in {', '.join(map(str, asked))}{only}")
    sources = read_sources(told, options.class_of(cfc))
    exposed = _exposed(told, unreadable, campaign, whole=folder is not None)
    contents = contents_of(
        sources, campaign=campaign, unreadable=unreadable, folder=folder, exposed=exposed
    )
    write_html(path, contents)
    if pdf is not None:
        from tautlog.display.report_pdf import write_pdf

        write_pdf(pdf, contents)
    if as_json:
        made = {"report": str(path), "pdf": str(pdf) if pdf else None, "drops": len(sources)}
        print_json({**made, "unreadable": [str(one.path) for one in unreadable]})
    else:
        click.echo(f"report {path}" + (f"\npdf    {pdf}" if pdf else ""))
        if left:
            click.echo(f"rehearsals, which count for nothing: {left} (--rehearsed shows them)")
    if unreadable:
        raise RecordError(
            f"the report is written without {len(unreadable)} of {len(told) + len(unreadable)} "
            f"files, which are named in it, the first: {unreadable[0].problem}",
            path=str(unreadable[0].path),
        )


def _files(asked: list[Path]) -> list[Path]:
    """The records that are asked for; of a campaign those of `tautlog list`."""
    from tautlog.archive.batch import records_in
    from tautlog.files.campaign_folder import CAMPAIGN_FILE

    found = []
    for place in asked:
        if (place / CAMPAIGN_FILE).is_file():
            found += sorted(place.glob("*.h5"))
        else:
            found += records_in([place])
    return list(dict.fromkeys(found))


def _exposed(
    records: list[Record],
    unreadable: list[RecordSummary],
    campaign: Campaign | None,
    *,
    whole: bool,
) -> list[Exposure]:
    """The ledger as `tautlog ledger` tells it; of single drops, what bears upon them."""
    from tautlog.archive.catalogue import catalogued
    from tautlog.archive.summary import summary_from
    from tautlog.campaign.ledger import exposures, read_entries, rehearsals

    mine = [summary_from(one) for one in records]
    if campaign is None:
        return exposures([*mine, *unreadable], [], []) + rehearsals(mine)
    mounts = [(one.name, one.proven_on) for one in campaign.mounts]
    found = exposures(catalogued(campaign.folder), read_entries(campaign.folder), mounts)
    names = {("article", one.article) for one in mine} | {("line", one.line) for one in mine}
    return [
        one
        for one in found
        if whole or one.kind in ("mount", "file") or (one.kind, one.name) in names
    ] + rehearsals(mine)


def _opened(paths: list[Path], *, rehearsed: bool) -> tuple[list[Record], list[RecordSummary], int]:
    """The records, what is said of those that cannot be read, and how many were left out.

    A rehearsal that was changed after its seal is not believed to be one, and not left out.
    """
    from tautlog.archive.summary import RecordSummary, summary_from
    from tautlog.errors import RecordError
    from tautlog.record import open_checked

    records, unreadable, left = [], [], 0
    for path in paths:
        try:
            record, check = open_checked(path)
        except RecordError as problem:
            unreadable.append(RecordSummary(str(path), problem=str(problem)))
            continue
        if not rehearsed and summary_from(record, check).rehearsed:
            left += 1
        else:
            records.append(record)
    return records, unreadable, left


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
