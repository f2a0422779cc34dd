"""Folder: where a campaign lies; cheap to import, for commands that need nothing else."""

from __future__ import annotations

import os
from pathlib import Path

CAMPAIGN_FILE = "campaign.toml"


def find_campaign(start_folder: str | os.PathLike[str] = ".") -> Path | None:
    """Return the campaign.toml of a folder or of the nearest folder above it, or None."""
    start = Path(start_folder).absolute()
    for folder in (start, *start.parents):
        if (folder / CAMPAIGN_FILE).is_file():
            return folder / CAMPAIGN_FILE
    return None
