"""``tautlog mark``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options


@click.command(name="mark")
@click.argument("record", type=click.Path(path_type=Path))
@options.cfc_option
@options.zero_option
@click.option("--budget", is_flag=True, help="Show the uncertainties, part by part.")
@options.json_option
def command(record: Path, cfc: str, zero: str, budget: bool, as_json: bool) -> None:
    """Compute marks and verdicts of a record, and keep them with it."""
    from tautlog.cli.console import print_budgets, print_figures, print_verdict
    from tautlog.cli.output import print_json
    from tautlog.quicklook import keep_marks, mark_record
    from tautlog.record import open_record

    number = options.class_of(cfc)
    marked = mark_record(open_record(record), cfc=number, zero=zero, budget=budget)
    trouble = keep_marks(record, marked, cfc=number, zero=zero)
    if trouble:
        click.echo(f"tautlog: the marks are not kept: {trouble}", err=True)
    if as_json:
        print_json(marked)
        return
    print_verdict(marked)
    print_figures(marked)
    if budget:
        print_budgets(marked["budgets"])
