"""Shown units: the option --units, and the units that a command shows.

Only text and pictures are converted; JSON and CSV are SI whatever is asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli.output import tell
from tautlog.errors import CampaignError, QuantityError
from tautlog.model.display_units import CHOICES, SI, Units, units_named

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign

    NamesType = click.ParamType[tuple[str, ...]]
else:  # only later versions of click make it a generic class
    NamesType = click.ParamType

KNOWN = "; ".join(f"{kind} {', '.join(names)}" for kind, names in CHOICES.items())


class UnitNames(NamesType):
    """Names of units between commas; any other text is wrong usage."""

    name = "units"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        """Refuse what is no unit that is shown, and two of one kind."""
        if isinstance(value, tuple):
            return value
        names = tuple(name.strip() for name in str(value).split(","))
        try:
            units_named(names)
        except QuantityError as problem:
            self.fail(str(problem), param, ctx)
        return names


def units_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add --units."""
    return click.option(
        "--units",
        "named",
        type=UnitNames(),
        default=(),
        metavar="NAMES",
        help=f"Show numbers in these units, such as lbf,ft (default: [display] of campaign.toml, "
        f"else SI). Known: {KNOWN}. JSON and CSV stay SI.",
    )(function)


def units_of(campaign: Campaign | None, named: tuple[str, ...] = (), *, si: bool = False) -> Units:
    """The units named, and for all else those of the campaign.

    Parameters
    ----------
    campaign : Campaign or None
        Without one, SI.
    named : tuple of str
        From --units.
    si : bool
        Show SI whatever is asked for: for JSON and CSV.
    """
    if si:
        return SI
    return units_named(named, campaign.units if campaign else SI)


def seen_by(campaign: Campaign | None, units: Units) -> Campaign | None:
    """A campaign that is shown in some units."""
    return None if campaign is None else replace(campaign, units=units)


def units_at(place: Path, named: tuple[str, ...] = (), *, si: bool = False) -> Units:
    """As `units_of`, for the campaign around a file or folder; no other of its files is read."""
    from tautlog.campaign.campaign import read_stated
    from tautlog.files.campaign_folder import find_campaign

    if si:
        return SI
    place = place.absolute()
    found = find_campaign(place if place.is_dir() else place.parent)
    if found is None:
        return units_named(named)
    try:
        return units_named(named, read_stated(found).display.units)
    except CampaignError as problem:
        tell(f"LOOK: shown in SI, [display] is not known: {problem}", err=True)
        return units_named(named)
