"""``tautlog report``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option

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
@options.sheet_options("report")
@options.cfc_option
@options.rehearsed_option
@units_option
@options.json_option
def command(
    places: tuple[Path, ...],
    out: Path | None,
    pdf: Path | None,
    paper: str,
    replace: bool,
    cfc: str | None,
    rehearsed: bool,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Write a report on one drop or on a campaign: one HTML file that needs nothing else.

    Page one says what was to be proven, whether it was, and by which drops. Every drop is in it,
    invalid drops too, with its newest marks. You can zoom the curves and read them with the
    pointer; in print they are pictures. Rehearsals are left out.
    """
    from tautlog.display.report.page import write_html
    from tautlog.display.report.places import contents_at, opened_at

    asked = list(places) or [options.folder_here()]
    folder = asked[0] if len(asked) == 1 and asked[0].is_dir() else None
    path = out or _name(asked[0], folder)
    _refuse_same(path, pdf)
    _refuse_taken(*(() if replace else (path, pdf)))
    campaign = _campaign_of({folder or place.parent for place in asked})
    opened = opened_at(asked, rehearsed=rehearsed)
    contents = contents_at(
        opened, campaign, folder, options.class_of(cfc), units_of(campaign, named)
    )
    kept = [write_html(path, contents, replace=replace)]
    if pdf is not None:
        from tautlog.display.report.paper import write_pdf

        kept.append(write_pdf(pdf, contents, paper=paper, replace=replace))
    _say_end(opened, Written(path, pdf, [place for place in kept if place is not None]), as_json)


@dataclass(frozen=True)
class Written:
    """The files of a report, and where older ones are now."""

    path: Path
    pdf: Path | None
    kept: list[Path]


def _refuse_taken(*places: Path | None) -> None:
    from tautlog.files.new_file import OR_REPLACE, refuse_taken

    for place in places:
        if place is not None:
            refuse_taken(place, OR_REPLACE)


def _refuse_same(path: Path, pdf: Path | None) -> None:
    """Page and PDF need two names: the second would replace the first."""
    if pdf is not None and path.absolute() == pdf.absolute():
        raise click.UsageError("--out and --pdf name the same file")


def _campaign_of(homes: set[Path]) -> Campaign | None:
    """The campaign whose folder, or folder of rehearsals, holds all the records; or None."""
    from tautlog.files.campaign_folder import CAMPAIGN_FILE
    from tautlog.model.origin import FOLDER

    home = homes.pop() if len(homes) == 1 else None
    if home is not None and home.absolute().name == FOLDER:
        home = home.absolute().parent
    if home is None or not (home / CAMPAIGN_FILE).is_file():
        return None
    return options.campaign_at(home, to_drop=False)


def _say_end(opened: Opened, made: Written, as_json: bool) -> None:
    """Say what was written; raise an error if a file is missing from it."""
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    count, unreadable = len(opened.records), opened.unreadable
    if as_json:
        told = {"report": str(made.path), "pdf": str(made.pdf) if made.pdf else None}
        lists = {"kept": made.kept, "unreadable": [summary.path for summary in unreadable]}
        print_json(
            {**told, "drops": count} | {name: list(map(str, one)) for name, one in lists.items()}
        )
    else:
        tell(f"report {made.path}" + (f"\npdf    {made.pdf}" if made.pdf else ""))
        for place in made.kept:
            tell(f"older  {place}")
        if opened.left_out:
            number = len(opened.left_out)
            tell(f"rehearsals left out: {number} (--rehearsed shows them; they never count)")
    if unreadable:
        raise RecordError(
            f"the report is written without {len(unreadable)} of {count + len(unreadable)} files, "
            f"which it names; the first: {unreadable[0].problem}",
            path=str(unreadable[0].path),
        )


def _name(place: Path, folder: Path | None) -> Path:
    return folder / "report.html" if folder is not None else place.with_suffix(".html")
