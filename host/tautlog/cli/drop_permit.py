"""The permit that a drop needs before arming, for the command line."""

from __future__ import annotations

from typing import Any

import click

from tautlog.campaign.campaign import Campaign
from tautlog.cli.console import ConsoleCrew
from tautlog.drop.granting import permitted as host_permitted
from tautlog.drop.permit import Permit
from tautlog.model.signature import signed
from tautlog.model.trace import DropSetup


def override_options(function: Any) -> Any:
    """Add the options with which a named person overrides a refusal."""
    function = click.option(
        "--override-reason",
        metavar="TEXT",
        help="Reason for the override; name and reason go into the record.",
    )(function)
    return click.option(
        "--override-by", metavar="NAME", help="Name of the person who overrides a refusal."
    )(function)


def override_of(by: str | None, reason: str | None) -> tuple[str, str]:
    """Name and reason of an override; both or neither."""
    name, why = signed(by), signed(reason)
    if bool(name) != bool(why) or (by is None) != (reason is None):
        raise click.UsageError("an override needs both --override-by and --override-reason")
    return name, why


def permitted(
    campaign: Campaign | None,
    setup: DropSetup,
    override_by: str | None,
    override_reason: str | None,
    crew: ConsoleCrew,
) -> Permit:
    """Ask `tautlog.drop.granting.permitted`, with the override from the options."""
    by, reason = override_of(override_by, override_reason)
    return host_permitted(
        campaign, setup, by=by, reason=reason, say=crew.say_when_met, units=crew.units
    )
