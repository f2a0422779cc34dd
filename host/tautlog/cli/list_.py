"""``tautlog list``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.archive import RecordSummary


@click.command(name="list")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@options.json_option
def command(folder: Path | None, as_json: bool) -> None:
    """List the records of a folder, oldest first."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from tautlog.archive import list_records
    from tautlog.cli.console import print_json

    campaign = options.here()
    records = list_records(folder or (campaign.folder if campaign else Path()))
    if as_json:
        print_json([_plain(one) for one in records])
        return
    if not records:
        click.echo("no records here")
        return
    table = Table(box=None, pad_edge=False)
    columns = "record article mass_kg height_m target_n peak_n record load trace test"
    for name in columns.split():
        table.add_column(name, overflow="fold")
    for one in records:
        figures = (one.mass_kg, one.height_m, one.target_n, one.peak_force_n)
        verdicts = (
            one.record_verdict or one.status,
            one.load_verdict,
            one.trace_says,
            one.test_verdict,
        )
        cells = [one.name, one.article or one.problem]
        cells += ["-" if figure is None else f"{figure:.4g}" for figure in figures]
        table.add_row(*(escape(cell) for cell in (*cells, *(text or "-" for text in verdicts))))
    Console(highlight=False, width=150).print(table)


def _plain(one: RecordSummary) -> dict[str, Any]:
    fields = asdict(one)
    return {"record": str(fields.pop("path")), **fields}
