"""``tautlog qualify``."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import seen_by, units_of, units_option
from tautlog.model import quantities as q

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.qualify.statement import Statement


@click.command(name="qualify")
@click.option("--plan", "only_plan", is_flag=True, help="Only count the articles that it takes.")
@click.option(
    "--reliability",
    type=options.Number(q.RELIABILITY),
    metavar="SHARE",
    help="Share of the parts of which it is stated (default: the campaign's).",
)
@click.option(
    "--confidence",
    type=options.Number(q.CONFIDENCE),
    metavar="SHARE",
    help="One-sided confidence (default: the campaign's).",
)
@click.option(
    "--failures",
    "failures_allowed",
    type=click.IntRange(0, 1000),
    metavar="N",
    help="How many articles may fail (default: the campaign's).",
)
@units_option
@options.json_option
def command(
    only_plan: bool,
    reliability: float | None,
    confidence: float | None,
    failures_allowed: int | None,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """State what the drops prove of the part, or say why they do not.

    Articles are counted, never drops. An article stood if a valid drop reached the target, the
    load path held, the inspection found nothing, and a named person decided. A break counts
    always. What is stated, and from how many articles, is agreed before the first drop, under
    [qualification] in campaign.toml. With --plan, other numbers can be tried.
    """
    from tautlog.errors import CampaignError

    given = {
        "reliability": reliability,
        "confidence": confidence,
        "failures_allowed": failures_allowed,
    }
    given = {name: value for name, value in given.items() if value is not None}
    if given and not only_plan:
        raise click.UsageError(
            "a statement is made as agreed, with the numbers of campaign.toml; --reliability, "
            "--confidence and --failures need --plan"
        )
    campaign = options.here(to_drop=False)
    campaign = seen_by(campaign, units_of(campaign, named, si=as_json))
    if only_plan:
        _show_plan(campaign, given, as_json)
        return
    if campaign is None:
        raise CampaignError("there is no campaign here: make one with `tautlog init`")
    _show_statement(campaign, as_json)


def _show_plan(campaign: Campaign | None, given: dict[str, Any], as_json: bool) -> None:
    """How many articles and drops a statement takes."""
    from tautlog.campaign.qualification import Qualification
    from tautlog.cli.output import print_json
    from tautlog.planning.effort import effort_of

    asked = campaign.qualification if campaign else Qualification()
    asked = replace(asked, articles=0, **given)
    effort = effort_of(campaign, asked)
    if as_json:
        print_json(asdict(effort))
        return
    for text in effort.lines:
        tell(text)


def _show_statement(campaign: Campaign, as_json: bool) -> None:
    from tautlog.archive.catalogue import catalogued
    from tautlog.cli.output import print_json
    from tautlog.model.printable import printable
    from tautlog.qualify.statement import CAUTION, statement_of

    said = statement_of(campaign, catalogued(campaign.folder))
    if as_json:
        print_json(_plain(said))
        return
    tell(f"{said.word}: {printable(said.text)}")
    for text in said.why_not:
        tell(f"  why not: {printable(text)}")
    if said.shown:
        tell(said.shown)
    tell(f"method: {said.claim.method}")
    for one in said.outcomes:
        tell(f"  {printable(one.article)}: {one.result}; {printable(one.why)}")
    tell("it assumes:")
    for text in said.assumptions:
        tell(f"  {printable(text)}")
    tell(CAUTION)
    tell(f"decides: {printable(said.decides) or 'NOBODY IS NAMED ([decision] decides)'}")


def _plain(said: Statement) -> dict[str, Any]:
    return {
        "made": said.made,
        "word": said.word,
        "text": said.text,
        "meets_target": said.meets_target,
        "deciders": list(said.deciders),
        **asdict(said),
    }
