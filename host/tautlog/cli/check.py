"""``tautlog check``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.drop_permit import override_of, override_options

if TYPE_CHECKING:
    from tautlog.board.readiness import Facts
    from tautlog.campaign.campaign import Campaign
    from tautlog.campaign.checklist import Checklist
    from tautlog.model.load_path import PathCheck
    from tautlog.model.trace import DropSetup


@click.command(name="check")
@options.port_options
@options.intended_options
@override_options
@click.option("--by", "operator", required=True, metavar="NAME", help="Person who asks.")
@click.option("--with", "second", required=True, metavar="NAME", help="Person who answers.")
@options.json_option
def command(
    port: str | None,
    timeout_scale: float,
    override_by: str | None,
    override_reason: str | None,
    operator: str,
    second: str,
    as_json: bool,
    **given: Any,
) -> None:
    """Go through the checklist before a drop: one person asks, a second one answers.

    The program measures what it can, and checks the drop against mount, rig and load path as
    `drop` will do; give the same --line, --mass and so on. Where something measured is wrong it
    ends there, and the questions come once that is mended. The list is valid for ten minutes,
    and void when somebody enters the zone. It goes into the record of the next drop.
    """
    from tautlog.campaign.checklist import CHALLENGES, add_checklist
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.errors import CampaignError
    from tautlog.model.signature import signed

    operator, second = signed(operator), signed(second)
    if not operator or not second or operator.casefold() == second.casefold():
        raise click.BadParameter(
            "give the names of two different persons", param_hint="--by, --with"
        )
    override = override_of(override_by, override_reason)
    campaign = options.here()
    if campaign is None:
        raise CampaignError(
            "a checklist needs a campaign, and there is none here: make one with `tautlog init`"
        )
    setup = options.setup_of(campaign, given)
    click.echo(CAUTION, err=True)
    measured = _measured(campaign, setup, _facts(port, campaign, setup, timeout_scale), override)
    # What is measured needs no second opinion: nobody answers ten questions in vain. The list
    # is kept all the same, so that an earlier one no longer counts.
    faults = [check for check in measured if not check.holds]
    made = _answered(operator, second, measured, () if faults else CHALLENGES)
    path = add_checklist(campaign.folder, made)
    if as_json:
        print_json({**asdict(made), "open": list(made.open_points), "file": str(path)})
    if made.open_points:
        later = "; the questions to the second person come once this is mended" if faults else ""
        raise CampaignError("not ready: " + "; ".join(made.open_points) + later)
    if not as_json:
        click.echo(f"complete, valid for ten minutes: {path}")


def _measured(
    campaign: Campaign, setup: DropSetup, facts: Facts | None, override: tuple[str, str]
) -> list[PathCheck]:
    """Show and return what can be measured, and what the gate refuses."""
    from tautlog.campaign.checklist import measured_checks
    from tautlog.drop.granting import checked_for

    by, reason = override
    measured = [
        *measured_checks(facts, campaign.folder, setup.target_n),
        *checked_for(
            campaign,
            setup,
            by=by,
            reason=reason,
            instrument=None if facts is None else facts.instrument,
        ),
    ]
    for check in measured:
        word = "holds " if check.holds else "REFUSE" if check.refuses else "LOOK: "
        click.echo(f"  {word} {check.text}", err=True)
    return measured


def _answered(
    operator: str,
    second: str,
    measured: list[PathCheck],
    challenges: tuple[tuple[str, str], ...],
) -> Checklist:
    """The list, with the second person's answer to every challenge."""
    from tautlog.campaign.checklist import Checklist
    from tautlog.model.timestamp import stamp

    answered = [
        (text, click.confirm(f"{second}: {text}?", default=False, err=True))
        for _, text in challenges
    ]
    return Checklist(stamp(), operator, second, tuple(measured), tuple(answered))


def _facts(
    port: str | None, campaign: Campaign, setup: DropSetup, timeout_scale: float
) -> Facts | None:
    if not port and not campaign.port:
        return None
    from tautlog.board.link import SerialLink
    from tautlog.board.readiness import read_facts
    from tautlog.board.session import Session
    from tautlog.campaign.fitted_shunt import shunt_of

    with SerialLink(options.port_of(port, campaign)) as link:
        session = Session(link, timeout_scale=timeout_scale)
        session.greet()
        shunt = shunt_of(campaign, campaign.calibration, asked=False)
        zero_v = campaign.amplifier.zero_v
        return read_facts(session, campaign.calibration, setup, shunt, stated_zero_v=zero_v)
