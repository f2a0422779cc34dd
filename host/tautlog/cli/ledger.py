"""``tautlog ledger``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from tautlog.cli import options


@click.command(name="ledger")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--add", is_flag=True, help="Enter a drop that is in no record.")
@click.option("--article", default="", metavar="NAME", help="Of the drop that is entered.")
@click.option("--line", default="", metavar="NAME", help="The same.")
@click.option("--mount", default="", metavar="NAME", help="The same.")
@click.option(
    "--peak-at-most",
    "peak_n",
    type=click.FloatRange(min=0, min_open=True),
    metavar="N",
    help="Upper bound of its peak, if one is known.",
)
@click.option("--by", default="", metavar="NAME", help="Who enters it.")
@click.option("--note", default="", metavar="TEXT", help="What happened.")
@options.rehearsed_option
@options.json_option
def command(
    folder: Path | None,
    add: bool,
    article: str,
    line: str,
    mount: str,
    peak_n: float | None,
    by: str,
    note: str,
    rehearsed: bool,
    as_json: bool,
) -> None:
    """Count the drops of every article, line and mount.

    Every drop ages what it pulls, also an invalid or aborted one, one whose file cannot be
    read, and one that nobody recorded. Rehearsals never count.
    """
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from tautlog.catalogue import catalogued
    from tautlog.cli.output import print_json
    from tautlog.ledger import HEAD, add_entry, exposures, read_entries, rehearsals, row

    campaign = options.here()
    where = folder or options.folder_here()
    if add:
        if not by.strip():
            raise click.BadParameter("an entry is signed with a name", param_hint="--by")
        add_entry(
            where,
            by=by.strip(),
            article=article,
            line=line,
            mount=mount,
            peak_at_most_n=peak_n,
            note=note,
        )
    mounts = [(one.name, one.proven_on) for one in campaign.mounts] if campaign else []
    there = catalogued(where)
    found = exposures(there, read_entries(where), mounts)
    found += rehearsals(there) if rehearsed else []
    if as_json:
        print_json([asdict(one) for one in found])
        return
    if not found:
        click.echo("no drops here")
        return
    table = Table(box=None, pad_edge=False)
    for name in HEAD:
        table.add_column(name, justify="left" if name in ("what", "name", "last") else "right")
    for one in found:
        table.add_row(*map(escape, row(one)))
    Console(highlight=False, width=130).print(table)
