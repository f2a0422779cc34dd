"""``tautlog mark``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option
from tautlog.model.printable import printable


@click.command(name="mark")
@click.argument("record", type=click.Path(path_type=Path))
@options.cfc_option
@options.zero_option
@options.calibration_options
@click.option("--budget", is_flag=True, help="Show each uncertainty part by part.")
@units_option
@options.json_option
def command(
    record: Path,
    cfc: str | None,
    zero: str | None,
    calibration: str | None,
    by: str,
    reason: str,
    budget: bool,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Compute marks and verdicts of a record, and keep them with it.

    Earlier marks stay; every list, picture and report shows the newest.
    """
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.cli.console import print_budgets, print_figures, print_verdict
    from tautlog.cli.output import print_json
    from tautlog.display.quick_look import mark_again

    assessment = mark_again(
        record,
        cfc=options.class_of(cfc),
        zero=zero or "",
        calibration=calibration,
        by=by,
        reason=reason,
        budgets=budget,
    )
    if assessment.problem:
        tell(f"tautlog: the marks are not kept: {printable(assessment.problem)}", err=True)
    if as_json:
        print_json(plain(assessment, budgets=budget))
        return
    assessment = replace(assessment, units=units_at(record, named))
    print_figures(assessment)
    if budget:
        print_budgets(assessment.marks.budgets, assessment.units)
    print_verdict(assessment)
