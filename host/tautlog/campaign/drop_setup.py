"""Set-up of a drop: the campaign's values, overridden by the values given for this drop."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.mistakes import order_mistakes
from tautlog.campaign.requirement import Requirement
from tautlog.errors import CampaignError
from tautlog.model.key import keys_of
from tautlog.model.names import meant
from tautlog.model.surroundings import Surroundings
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class DropRequest:
    """Values given for one drop; None if not given. See `DropSetup`."""

    mass_kg: float | None = None
    height_m: float | None = None
    target_n: float | None = None
    limit_n: float | None = None
    article: str | None = None
    line: str | None = None
    mount: str | None = None
    operator: str | None = None
    note: str | None = None
    temperature_c: float | None = None
    humidity_percent: float | None = None
    condition: str | None = None
    since_conditioning_h: float | None = None
    article_finding: str | None = None


def setup_from(campaign: Campaign | None, request: DropRequest | None = None) -> DropSetup:
    """Return the set-up of one drop.

    Parameters
    ----------
    campaign : Campaign or None
        The campaign, if there is one.
    request : DropRequest, optional
        Values for this drop. Without a mount, the campaign's only mount is taken; if there are
        several, none is.

    Raises
    ------
    CampaignError
        If a value is out of range, with all problems in `problems`, or the campaign does not
        have the mount.
    """
    request = request or DropRequest()
    request = replace(request, mount=mount_name(campaign, request.mount))
    given = {name: value for name, value in asdict(request).items() if value is not None}
    keys = {**keys_of(Requirement), **keys_of(DropSetup), **keys_of(Surroundings)}
    problems = [keys[name].mistake(value) for name, value in given.items() if name in keys]
    problems = [problem for problem in problems if problem]
    if "target_n" in given and "limit_n" not in given:
        # The campaign's limit belongs to the campaign's target.
        given["limit_n"] = None
    made = replace(DropSetup() if campaign is None else campaign.setup, **given)
    problems = problems or order_mistakes(made.target_n, made.limit_n)
    if problems:
        text = "the set-up of the drop is wrong: " + "; ".join(problems)
        raise CampaignError(text, problems=tuple(problems))
    return made


def mount_name(campaign: Campaign | None, name: str | None) -> str:
    """Name of the mount to use; "" if the campaign has no single mount and none is named.

    Raises
    ------
    CampaignError
        If the campaign has mounts, but not this one.
    """
    mounts = [mount.name for mount in campaign.mounts] if campaign else []
    if not name:
        return mounts[0] if len(mounts) == 1 else ""
    if mounts and name not in mounts:
        raise CampaignError(f"mount {name!r} is not in campaign.toml; {meant(name, mounts)}")
    return name
