"""Set-up of a drop: the campaign's, with what was asked for put over it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.mistakes import order_mistakes
from tautlog.campaign.sections import Requirement
from tautlog.errors import CampaignError
from tautlog.model.key import keys_of
from tautlog.model.names import meant
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class Asked:
    """What was asked for of one drop; None where nothing was. See `DropSetup`."""

    mass_kg: float | None = None
    height_m: float | None = None
    target_n: float | None = None
    limit_n: float | None = None
    article: str | None = None
    line: str | None = None
    mount: str | None = None
    operator: str | None = None
    note: str | None = None
    article_finding: str | None = None


def setup_from(campaign: Campaign | None, asked: Asked | None = None) -> DropSetup:
    """Return the set-up of one drop.

    Parameters
    ----------
    campaign : Campaign or None
        The campaign, if there is one.
    asked : Asked, optional
        Without a mount it is the campaign's only one; of several none is assumed.

    Raises
    ------
    CampaignError
        If a value is out of range, with all of them in `problems`, or the mount is none of
        the campaign's.
    """
    asked = asked or Asked()
    said = replace(asked, mount=mount_name(campaign, asked.mount))
    given = {name: value for name, value in asdict(said).items() if value is not None}
    keys = {**keys_of(Requirement), **keys_of(DropSetup)}
    problems = [keys[name].mistake(value) for name, value in given.items() if name in keys]
    problems = [one for one in problems if one]
    if "target_n" in given and "limit_n" not in given:
        # The campaign's limit belongs to the campaign's target.
        given["limit_n"] = None
    made = replace(DropSetup() if campaign is None else campaign.setup, **given)
    problems = problems or order_mistakes(made.target_n, made.limit_n)
    if problems:
        text = "the set-up of the drop has a mistake: " + "; ".join(problems)
        raise CampaignError(text, problems=tuple(problems))
    return made


def mount_name(campaign: Campaign | None, name: str | None) -> str:
    """Name of the mount that is meant; "" where several are and none was named.

    Raises
    ------
    CampaignError
        If the campaign has mounts, and none of that name.
    """
    mounts = [one.name for one in campaign.mounts] if campaign else []
    if not name:
        return mounts[0] if len(mounts) == 1 else ""
    if mounts and name not in mounts:
        raise CampaignError(f"mount {name!r} is none of the campaign's; {meant(name, mounts)}")
    return name
