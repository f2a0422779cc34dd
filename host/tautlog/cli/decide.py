"""``tautlog decide``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options
from tautlog.model.signature import signed
from tautlog.model.verdict import TEST_VERDICTS


@click.command(name="decide")
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--verdict",
    type=click.Choice([one for one in TEST_VERDICTS if one != "pending"]),
    required=True,
    help="What the test shall count as.",
)
@click.option("--by", required=True, metavar="NAME", help="Who decides.")
@click.option("--reason", required=True, metavar="TEXT", help="Why, in plain words.")
@options.cfc_option
@options.json_option
def command(
    record: Path, verdict: str, by: str, reason: str, cfc: str | None, as_json: bool
) -> None:
    """Enter what a named person decides about a test, and why.

    The tool proposes, a person decides. The proposal stays beside the decision, in every
    list and report; nothing is rewritten. Marks that nobody has kept yet are kept.
    """
    from tautlog.archive.assess import assess
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.archive.kept_marks import as_kept, keep_marks
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json
    from tautlog.record import add_decision, open_record

    by, reason = options.signature_of(by, "a decision"), signed(reason)
    if not reason:
        raise click.BadParameter("a decision needs a reason", param_hint="--reason")
    number = options.class_of(cfc)
    opened = open_record(record)
    one = assess(opened, cfc=number)
    add_decision(record, by=by, verdict=verdict, proposed=one.verdict.test_verdict, reason=reason)
    if not as_kept(opened, one):
        # What was proposed to the person who decides is what every list tells.
        keep_marks(opened, one)
    one = assess(open_record(record), cfc=number)
    if as_json:
        print_json(plain(one))
        return
    print_verdict(one)
