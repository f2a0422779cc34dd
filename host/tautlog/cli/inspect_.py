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
    from tautlog.archive.assess import assess
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.archive.kept_marks import keep_marks
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json
    from tautlog.record import add_inspection, open_record

    by = options.signature_of(by, "an inspection")
    number = options.class_of(cfc)
    add_inspection(record, by=by, finding=finding, note=note, where=where, moved=moved)
    if finding not in ("intact", "not-inspected") and not (where and moved):
        click.echo(
            "also say where it failed (--where) and what touched or moved first (--moved), while "
            "it can be seen: enter the inspection again, both are kept",
            err=True,
        )
    opened = open_record(record)
    assessment = assess(opened, cfc=number)
    problem = keep_marks(opened, assessment)
    if problem:
        click.echo(f"tautlog: the marks are not kept: {problem}", err=True)
    if as_json:
        print_json(plain(assessment))
        return
    click.echo(f"inspected by {by}: {finding}")
    print_verdict(assessment)
