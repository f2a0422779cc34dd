"""``tautlog decide``."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.shown_units import units_at, units_option
from tautlog.model.signature import signed
from tautlog.model.verdict import TEST_VERDICTS


@click.command(name="decide")
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--verdict",
    type=click.Choice([verdict for verdict in TEST_VERDICTS if verdict != "pending"]),
    required=True,
    help="What the test counts as.",
)
@click.option("--by", required=True, metavar="NAME", help="Who decides.")
@click.option("--reason", required=True, metavar="TEXT", help="Why, in plain words.")
@options.cfc_option
@units_option
@options.json_option
def command(
    record: Path,
    verdict: str,
    by: str,
    reason: str,
    cfc: str | None,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Enter a named person's decision on a test, and the reason.

    The program proposes, a person decides. Every list and report shows the proposal beside the
    decision; nothing is rewritten. The marks are kept if they are not yet.
    """
    from tautlog.archive.judging_again import enter_decision
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.campaign.people import DECIDER
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json

    by, reason = options.signature_of(by, "a decision"), signed(reason)
    if not reason:
        raise click.BadParameter(
            "a decision needs a reason: give it in plain words", param_hint="--reason"
        )
    assessment = enter_decision(
        record, by=by, verdict=verdict, reason=reason, cfc=options.class_of(cfc)
    )
    options.tell_role(record, DECIDER, by)
    if as_json:
        print_json(plain(assessment))
        return
    print_verdict(dataclasses.replace(assessment, units=units_at(record, named)))
