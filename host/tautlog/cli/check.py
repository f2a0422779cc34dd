"""``tautlog check``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.drop_permit import override_of, override_options
from tautlog.cli.looked import looked_option, require_looked
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model.printable import printable

if TYPE_CHECKING:
    from tautlog.board.readiness import Facts
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.load_path import PathCheck
    from tautlog.model.trace import DropSetup


@click.command(name="check")
@options.port_options
@options.intended_options
@override_options
@looked_option
@click.option("--by", "operator", required=True, metavar="NAME", help="Person who asks.")
@click.option("--with", "second", required=True, metavar="NAME", help="Person who answers.")
@units_option
@options.json_option
def command(
    port: str | None,
    timeout_scale: float,
    override_by: str | None,
    override_reason: str | None,
    looked_by: str | None,
    operator: str,
    second: str,
    named: tuple[str, ...],
    as_json: bool,
    **given: Any,
) -> None:
    """Go through the checklist before a drop: one person asks, a second one answers.

    The program measures what it can, and checks the drop against mount, rig and load path as
    `drop` will do; give the same --line, --mass and so on. Where something measured is wrong it
    ends there, and the questions come once that is mended. The list is valid for ten minutes,
    and void when somebody enters the zone. It goes into the record of the next drop.
    """
    from tautlog.campaign.checklist import add_checklist, answered_list, two_persons
    from tautlog.campaign.people import require_at_the_list
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.drop.checking import measured_for
    from tautlog.errors import CampaignError

    try:
        operator, second = two_persons(operator, second)
    except CampaignError as problem:
        raise click.BadParameter(str(problem), param_hint="--by, --with") from problem
    override = override_of(override_by, override_reason)
    campaign = options.here()
    if campaign is None:
        raise CampaignError(
            "a checklist needs a campaign, and there is none here: make one with `tautlog init`"
        )
    require_looked(campaign, looked_by)
    required = campaign.decision.checklist == "required"
    for text in require_at_the_list(campaign.people, operator, second, required=required):
        tell(f"LOOK: {text}", err=True)
    setup = options.setup_of(campaign, given)
    tell(CAUTION, err=True)
    facts = _facts(port, campaign, setup, timeout_scale)
    measured = measured_for(campaign, setup, facts, override)
    shown = measured_for(campaign, setup, facts, override, units_of(campaign, named))
    _shown(shown)
    # What is measured needs no second opinion: nobody answers ten questions in vain. The list
    # is kept all the same, so that an earlier one no longer counts.
    faults = [check.text for check in shown if not check.holds]
    made = answered_list(operator, second, measured, {} if faults else _answers(second))
    path = add_checklist(campaign.folder, made)
    if as_json:
        print_json({**asdict(made), "open": list(made.open_points), "file": str(path)})
    if made.open_points:
        later = "; the questions to the second person come once this is mended" if faults else ""
        raise CampaignError("not ready: " + "; ".join(faults or made.open_points) + later)
    if not as_json:
        tell(f"complete, valid for ten minutes: {path}")


def _shown(measured: list[PathCheck]) -> None:
    for check in measured:
        word = "holds " if check.holds else "REFUSE" if check.refuses else "LOOK: "
        tell(f"  {word} {check.text}", err=True)


def _answers(second: str) -> dict[str, bool]:
    """The second person's answer to every challenge."""
    from tautlog.campaign.checklist import CHALLENGES

    return {
        code: click.confirm(printable(f"{second}: {text}?"), default=False, err=True)
        for code, text in CHALLENGES
    }


def _facts(
    port: str | None, campaign: Campaign, setup: DropSetup, timeout_scale: float
) -> Facts | None:
    if not port and not campaign.port:
        return None
    from tautlog.drop.checking import facts_at

    return facts_at(options.port_of(port, campaign), campaign, setup, timeout_scale=timeout_scale)
