"""``tautlog inspect``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options
from tautlog.model.inspection import ARTICLE_FINDINGS


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
@options.cfc_option
@options.json_option
def command(
    record: Path,
    finding: str,
    by: str,
    note: str,
    where: str,
    moved: str,
    cfc: str | None,
    as_json: bool,
) -> None:
    """Enter what an inspection of the article found, and judge the drop again.

    Nothing is rewritten: each inspection is added with name and time, and the newest counts.
    """
    from tautlog.archive.judging_again import enter_inspection, says_too_little
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json

    by = options.signature_of(by, "an inspection")
    assessment = enter_inspection(
        record,
        by=by,
        finding=finding,
        note=note,
        where=where,
        moved=moved,
        cfc=options.class_of(cfc),
    )
    more = says_too_little(finding, where, moved)
    if more:
        click.echo(more, err=True)
    if assessment.problem:
        click.echo(f"tautlog: the marks are not kept: {assessment.problem}", err=True)
    if as_json:
        print_json(plain(assessment))
        return
    click.echo(f"inspected by {by}: {finding}")
    print_verdict(assessment)
