"""Practised: whether a campaign is there to practise with, without reading all of it."""

from __future__ import annotations

from pathlib import Path

from tautlog.campaign.toml_text import parsed, read_text


def practises(path: Path) -> bool:
    """Whether a campaign.toml states kind = "rehearsal"; False if it cannot be read.

    For lists, which read no calibrations; whoever keeps or drops something reads the whole
    campaign, see `campaign.Campaign.rehearsed`.
    """
    try:
        about = parsed(read_text(path)).get("campaign")
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(about, dict) and about.get("kind") == "rehearsal"
