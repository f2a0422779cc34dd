"""Practised: whether a campaign is there to practise with, without reading all of it."""

from __future__ import annotations

import tomllib
from pathlib import Path

from tautlog.files.ordinary import read_ordinary


def practises(path: Path) -> bool:
    """Whether a campaign.toml states kind = "rehearsal"; False if it cannot be read.

    For lists, which read no calibrations; whoever keeps or drops something reads the whole
    campaign, see `campaign.Campaign.rehearsed`.
    """
    try:
        about = tomllib.loads(read_ordinary(path).decode("utf-8-sig")).get("campaign")
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(about, dict) and about.get("kind") == "rehearsal"
