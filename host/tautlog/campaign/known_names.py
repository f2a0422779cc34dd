"""Known names: names that somebody typed and the campaign does not have."""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.model.names import meant


def unknown_names(campaign: Campaign | None, *, article: str = "", line: str = "") -> list[str]:
    """What to look at, one line for each name that campaign.toml does not have.

    A past drop may well have had other names: this is no refusal.
    """
    if campaign is None:
        return []
    known = (("article", article, campaign.articles), ("line", line, campaign.lines))
    found = []
    for kind, name, there in known:
        names = [thing.name for thing in there]
        if name and names and name not in names:
            found.append(f"{kind} {name!r} is not in campaign.toml; {meant(name, names)}")
    return found
