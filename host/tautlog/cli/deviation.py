"""``tautlog deviation``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.campaign.deviations import Deviation


@click.command(name="deviation")
@click.argument("text", required=False)
@click.option("--by", default="", metavar="NAME", help="Who states it.")
@click.option("--record", default="", metavar="NAME", help="Name of the record that it affects.")
@click.option("--step", default="", metavar="STEP", help="Step of the procedure that it affects.")
@click.option(
    "--requirement", default="", metavar="KEY", help="Key of [requirement] that it affects."
)
@click.option("--agreed", default="", metavar="NAME", help="Who else agreed to it.")
@click.option("--answers", metavar="N", help="Number of the deviation that this text closes.")
@options.correction_options("N")
@options.json_option
def command(
    text: str | None,
    by: str,
    record: str,
    step: str,
    requirement: str,
    agreed: str,
    answers: str | None,
    supersedes: str | None,
    reason: str,
    as_json: bool,
) -> None:
    """State where the work was not done as the procedure says; without TEXT, list the deviations.

    A deviation is never deleted. A second entry closes it: give what was done about it as TEXT,
    with --answers. The report shows all of them, beside what the program finds by itself.
    """
    from tautlog.errors import CampaignError

    campaign = options.here(to_drop=False)
    if campaign is None:
        raise CampaignError("there is no campaign here: make one with `tautlog init`")
    if text is not None and not text.strip():
        raise click.UsageError(
            "TEXT is empty: say what was done otherwise; to list the deviations, leave it out"
        )
    if text is not None:
        from tautlog.campaign.deviations import Deviation

        made = Deviation(
            stamp(),
            options.signature_of(by, "a deviation"),
            text.strip(),
            record=record.strip().removesuffix(".h5"),
            step=step.strip(),
            requirement=requirement.strip(),
            agreed=agreed.strip(),
            answers=options.number_of(answers),
            supersedes=options.number_of(supersedes),
            reason=signed(reason),
        )
        _enter(campaign, made)
    elif any((by, record, step, requirement, agreed, answers, supersedes, reason)):
        raise click.UsageError("nothing was entered: give the deviation's TEXT")
    _list(campaign, as_json)


def _enter(campaign: Campaign, made: Deviation) -> None:
    from tautlog.archive.listing import records_in
    from tautlog.campaign.deviations import enter_deviation

    added, doubts = enter_deviation(campaign, made, records_in(campaign.folder, rehearsed=True))
    options.tell_doubt(added)
    for doubt in doubts:
        tell(f"LOOK: {doubt}", err=True)


def _list(campaign: Campaign, as_json: bool) -> None:
    from tautlog.campaign.deviations import read_log
    from tautlog.cli.output import print_json

    log = read_log(campaign.folder)
    if as_json:
        print_json([{"open": one.open, **asdict(one)} for one in log])
        return
    for one in log:
        tell(one.words)
    if not log:
        tell("no deviations are stated")
