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
    from tautlog.display.report.gathering import contents_of
    from tautlog.display.report.page import write_html
    from tautlog.display.report.sources import read_sources

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    _refuse_taken(path, pdf)
    campaign = _campaign_of({folder or place.parent for place in asked})
    opened = _opened(_files(asked), rehearsed=rehearsed)
    _refuse_nothing(opened, asked)
    contents = contents_of(
        read_sources(opened.records, options.class_of(cfc)),
        campaign=campaign,
        unreadable=opened.unreadable,
        folder=folder,
        exposed=_exposed(opened, campaign, whole=folder is not None),
    )
    write_html(path, contents)
    if pdf is not None:
        from tautlog.display.report.paper import write_pdf

        write_pdf(pdf, contents)
    _say_end(opened, path, pdf, as_json)


@dataclass(frozen=True)
class _Opened:
    """Records to report on, files that cannot be read, and rehearsals that are left out."""

    records: list[Record]
    unreadable: list[RecordSummary]
    left_out: list[Path]


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


def _refuse_nothing(opened: _Opened, asked: list[Path]) -> None:
    from tautlog.errors import RecordError

    if opened.records:
        return
    if asked == opened.left_out:
        names = ", ".join(map(str, asked))
        what = "is a rehearsal" if len(asked) == 1 else "are rehearsals"
        raise RecordError(f"{names} {what} and left out: give --rehearsed for a report on it")
    only = "; rehearsals are left out: --rehearsed includes them" if opened.left_out else ""
    raise RecordError(f"no readable record in {', '.join(map(str, asked))}{only}")


def _say_end(opened: _Opened, path: Path, pdf: Path | None, as_json: bool) -> None:
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


def _files(asked: list[Path]) -> list[Path]:
    """The records to report on; of a campaign, the records that `tautlog list` shows."""
    from tautlog.archive.batch import records_in
    from tautlog.files.campaign_folder import CAMPAIGN_FILE

    found = []
    for place in asked:
        if (place / CAMPAIGN_FILE).is_file():
            found += sorted(place.glob("*.h5"))
        else:
            found += records_in([place])
    return list(dict.fromkeys(found))


def _exposed(opened: _Opened, campaign: Campaign | None, *, whole: bool) -> list[Exposure]:
    """The ledger as `tautlog ledger` shows it; for single drops, only what concerns them."""
    from tautlog.archive.catalogue import catalogued
    from tautlog.archive.summary import summary_from
    from tautlog.campaign.ledger import exposures, read_entries, rehearsals

    mine = [summary_from(record) for record in opened.records]
    if campaign is None:
        return exposures([*mine, *opened.unreadable], [], []) + rehearsals(mine)
    mounts = [(mount.name, mount.proven_on) for mount in campaign.mounts]
    found = exposures(catalogued(campaign.folder), read_entries(campaign.folder), mounts)
    names = {("article", drop.article) for drop in mine} | {("line", drop.line) for drop in mine}
    return [
        exposure
        for exposure in found
        if whole or exposure.kind in ("mount", "file") or (exposure.kind, exposure.name) in names
    ] + rehearsals(mine)


def _opened(paths: list[Path], *, rehearsed: bool) -> _Opened:
    """Open the records.

    A rehearsal that was changed after its seal is not taken for a rehearsal: it stays in.
    """
    from tautlog.archive.summary import RecordSummary, summary_from
    from tautlog.errors import RecordError
    from tautlog.record import open_checked

    records, unreadable, left_out = [], [], []
    for path in paths:
        try:
            record, check = open_checked(path)
        except RecordError as problem:
            unreadable.append(RecordSummary(str(path), problem=str(problem)))
            continue
        if not rehearsed and summary_from(record, check).rehearsed:
            left_out.append(path)
        else:
            records.append(record)
    return _Opened(records, unreadable, left_out)


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
