"""``tautlog inspect``."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option
from tautlog.model.inspection import ARTICLE_FINDINGS, WHOLE

if TYPE_CHECKING:
    from tautlog.model.dimensions import Measured


@click.command(name="inspect")
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--found",
    "finding",
    type=click.Choice(ARTICLE_FINDINGS),
    required=True,
    metavar="FINDING",
    help=f"State of the article: {', '.join(ARTICLE_FINDINGS)}.",
)
@click.option("--by", required=True, metavar="NAME", help="Who inspected it.")
@click.option("--note", default="", metavar="TEXT", help="What you saw, in plain words.")
@click.option("--where", default="", metavar="TEXT", help="Where it failed, if it did.")
@click.option(
    "--moved", default="", metavar="TEXT", help="What touched or moved first, if it failed."
)
@click.option(
    "--dimension",
    "dimensions",
    multiple=True,
    metavar="NAME=MM",
    help="A dimension of [[dimension]] as measured now, such as length=312.4; may be repeated. "
    "Those that the criterion is judged by are needed if the article is to be whole.",
)
@options.cfc_option
@units_option
@options.json_option
def command(
    record: Path,
    finding: str,
    by: str,
    note: str,
    where: str,
    moved: str,
    dimensions: tuple[str, ...],
    cfc: str | None,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Enter what an inspection of the article found, and judge the drop again.

    Nothing is rewritten: each inspection is added with name and time, and the newest counts.
    """
    from tautlog.archive.judging_again import enter_inspection, says_too_little
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.campaign.people import INSPECTOR
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json
    from tautlog.model.dimensions import as_objects

    by = options.signature_of(by, "an inspection")
    measured = _measured(record, dimensions, finding)
    assessment = enter_inspection(
        record,
        by=by,
        finding=finding,
        note=note,
        where=where,
        moved=moved,
        measured=measured,
        cfc=options.class_of(cfc),
    )
    options.tell_role(record, INSPECTOR, by)
    more = says_too_little(finding, where, moved)
    if more:
        tell(more, err=True)
    if assessment.problem:
        tell(f"tautlog: the marks are not kept: {assessment.problem}", err=True)
    if as_json:
        print_json({**plain(assessment), "dimensions": as_objects(measured)})
        return
    tell(f"inspected by {by}: {finding}")
    units = units_at(record, named)
    for one in measured:
        tell(one.said(units))
    print_verdict(dataclasses.replace(assessment, units=units))


def _measured(path: Path, dimensions: tuple[str, ...], finding: str) -> tuple[Measured, ...]:
    """What the options say was measured, beside what the campaign states."""
    from tautlog.campaign.dimensions import inspected
    from tautlog.files.campaign_folder import find_campaign
    from tautlog.record import open_record

    typed: dict[str, str] = {}
    for text in dimensions:
        name, equals, value = text.rpartition("=")
        if not equals or name.strip() in typed:
            raise click.UsageError(f"--dimension {text}: expected NAME=MM, each name once")
        typed[name.strip()] = value
    found = find_campaign(path.absolute().parent)
    if not typed and (found is None or finding not in WHOLE):
        return ()
    campaign = options.campaign_at(found or path.parent, to_drop=False)
    article, criterion = open_record(path).setup.article, campaign.requirement.dimensions
    return inspected(criterion, campaign.dimensions, article, typed, finding)
