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
    help="What the article was like.",
)
@click.option("--by", required=True, metavar="NAME", help="Who looked at it.")
@click.option("--note", default="", metavar="TEXT", help="In plain words: what, how far.")
@click.option("--where", default="", metavar="TEXT", help="Where it gave, if it did.")
@click.option("--moved", default="", metavar="TEXT", help="What touched or moved first.")
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

    Nothing is rewritten: an inspection is added to those before, with name and time,
    and the newest counts.
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
            "say where it gave (--where) and what touched or moved first (--moved), as long as it "
            "can be seen: enter the inspection again, both are kept",
            err=True,
        )
    opened = open_record(record)
    one = assess(opened, cfc=number)
    problem = keep_marks(opened, one)
    if problem:
        click.echo(f"tautlog: the marks are not kept: {problem}", err=True)
    if as_json:
        print_json(plain(one))
        return
    click.echo(f"inspected by {by}: {finding}")
    print_verdict(one)
