"""Campaign folder: where a campaign lies; light to import, for commands that need only that."""

from __future__ import annotations

import os
from pathlib import Path

CAMPAIGN_FILE = "campaign.toml"
CHAIN_FILE = "chain.jsonl"
# What only a campaign's commands write: where one of these lies, campaign.toml was there, too.
KEPT_LINES = (
    *("proofs.jsonl", "ledger.jsonl", "bring_up.jsonl", "deviations.jsonl"),
    "signatures.jsonl",
)
KEPT_FOLDERS = ("calibrations", "converters")
CHECKLISTS = "checklists"
TRACES = (*KEPT_LINES, CHAIN_FILE, *KEPT_FOLDERS)


def find_campaign(start_folder: str | os.PathLike[str] = ".") -> Path | None:
    """Return the campaign.toml of a folder or of the nearest one above it, or None.

    One that is a broken link, a pipe or a folder, or is gone from among its proofs and ledger,
    is returned all the same: whoever reads it is told, and no drop is done as if there were none.
    """
    start = Path(start_folder).absolute()
    for folder in (start, *start.parents):
        if os.path.lexists(folder / CAMPAIGN_FILE):
            return folder / CAMPAIGN_FILE
    return start / CAMPAIGN_FILE if traces_of_campaign(start) else None


def traces_of_campaign(folder: Path) -> list[str]:
    """Names in a folder that only a campaign leaves there."""
    return [name for name in TRACES if os.path.lexists(folder / name)]
