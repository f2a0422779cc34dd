"""``tautlog report``."""

from __future__ import annotations

from dataclasses import dataclass
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
    from tautlog.display.report.gathering import contents_of
    from tautlog.display.report.page import write_html
    from tautlog.display.report.sources import read_sources

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    _refuse_taken(path, pdf)
    campaign = _campaign_of({folder or one.parent for one in asked})
    told = _opened(_files(asked), rehearsed=rehearsed)
    _refuse_nothing(told, asked)
    contents = contents_of(
        read_sources(told.records, options.class_of(cfc)),
        campaign=campaign,
        unreadable=told.unreadable,
        folder=folder,
        exposed=_exposed(told, campaign, whole=folder is not None),
    )
    write_html(path, contents)
    if pdf is not None:
        from tautlog.display.report.paper import write_pdf

        write_pdf(pdf, contents)
    _say_end(told, path, pdf, as_json)


@dataclass(frozen=True)
class _Opened:
    """Records, what is said of files that cannot be read, and how many were left out."""

    records: list[Record]
    unreadable: list[RecordSummary]
    left: int


def _refuse_taken(*places: Path | None) -> None:
    from tautlog.files.new_file import refuse_taken

    for place in places:
        if place is not None:
            refuse_taken(place)


def _campaign_of(homes: set[Path]) -> Campaign | None:
    """The campaign in whose folder all lies that is asked for."""
    from tautlog.files.campaign_folder import CAMPAIGN_FILE

    home = homes.pop() if len(homes) == 1 else None
    if home is None or not (home / CAMPAIGN_FILE).is_file():
        return None
    return options.campaign_at(home, to_drop=False)


def _refuse_nothing(told: _Opened, asked: list[Path]) -> None:
    from tautlog.errors import RecordError

    if not told.records:
        only = "; rehearsals are left out: --rehearsed shows them" if told.left else ""
        raise RecordError(f"no record that can be read in {', '.join(map(str, asked))}{only}")


def _say_end(told: _Opened, path: Path, pdf: Path | None, as_json: bool) -> None:
    """What was written, and an error where a file is not in it."""
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    count, unreadable = len(told.records), told.unreadable
    if as_json:
        made = {"report": str(path), "pdf": str(pdf) if pdf else None, "drops": count}
        print_json({**made, "unreadable": [str(one.path) for one in unreadable]})
    else:
        click.echo(f"report {path}" + (f"\npdf    {pdf}" if pdf else ""))
        if told.left:
            click.echo(f"rehearsals, which count for nothing: {told.left} (--rehearsed shows them)")
    if unreadable:
        raise RecordError(
            f"the report is written without {len(unreadable)} of {count + len(unreadable)} "
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


def _exposed(told: _Opened, campaign: Campaign | None, *, whole: bool) -> list[Exposure]:
    """The ledger as `tautlog ledger` tells it; of single drops, what bears upon them."""
    from tautlog.archive.catalogue import catalogued
    from tautlog.archive.summary import summary_from
    from tautlog.campaign.ledger import exposures, read_entries, rehearsals

    mine = [summary_from(one) for one in told.records]
    if campaign is None:
        return exposures([*mine, *told.unreadable], [], []) + rehearsals(mine)
    mounts = [(one.name, one.proven_on) for one in campaign.mounts]
    found = exposures(catalogued(campaign.folder), read_entries(campaign.folder), mounts)
    names = {("article", one.article) for one in mine} | {("line", one.line) for one in mine}
    return [
        one
        for one in found
        if whole or one.kind in ("mount", "file") or (one.kind, one.name) in names
    ] + rehearsals(mine)


def _opened(paths: list[Path], *, rehearsed: bool) -> _Opened:
    """Open what is asked for.

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
    return _Opened(records, unreadable, left)


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
