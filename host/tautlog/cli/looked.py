"""Looked: who has looked at sled, pin and latch before anybody begins something at the rig."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from tautlog.model.signature import signed

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign


def looked_option(function: Any) -> Any:
    """Add --looked-by."""
    return click.option(
        "--looked-by",
        metavar="NAME",
        help="Who has looked at sled, pin and latch since the last drop; asked for after each. "
        "Name and time are kept.",
    )(function)


def require_looked(campaign: Campaign | None, looked_by: str | None) -> None:
    """Ask `tautlog.campaign.zone.require_looked`, with the name from the option."""
    from tautlog.campaign import zone

    if looked_by is not None and not signed(looked_by):
        raise click.BadParameter("give the name of who looked", param_hint="--looked-by")
    if campaign is not None:
        zone.require_looked(campaign.folder, looked_by or "")


def stay_out_now(campaign: Campaign | None) -> str:
    """That people must stay out, or ""; for what may be done from afar all the same."""
    from tautlog.campaign import zone

    return "" if campaign is None else zone.stay_out_now(campaign.folder)
