"""Chain: the order in which the records of a campaign were sealed.

`chain.jsonl` beside campaign.toml has one line for each sealed record: name, record_id,
seal and the seal of the record before it. Each record carries that seal in itself, under
its own, so that a record that was taken away or put in the place of another shows, also
when the file was changed to match.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.jsonlines import add_line

FILE_NAME = "chain.jsonl"
CAMPAIGN_FILE = "campaign.toml"


@dataclass(frozen=True)
class Link:
    """One sealed record of a campaign."""

    name: str
    record_id: str
    seal: str
    previous: str


def read_chain(folder: Path) -> list[Link]:
    """Links of a folder, oldest first; lines that are none are left out."""
    try:
        lines = (folder / FILE_NAME).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
    links = []
    for line in lines:
        try:
            told = json.loads(line)
            links.append(Link(**{name: str(told[name]) for name in Link.__dataclass_fields__}))
        except (ValueError, KeyError, TypeError):
            continue
    return links


def last_seal(folder: Path) -> str:
    """Seal of the record that was sealed last in a folder, or ""."""
    links = read_chain(folder)
    return links[-1].seal if links else ""


def add_link(path: Path, record_id: str, seal: str, previous: str) -> None:
    """Append a record that was just sealed to the chain of its campaign, if it has one.

    A chain that cannot be written costs no record: `verify` tells of it.
    """
    folder = path.parent
    if not (folder / CAMPAIGN_FILE).is_file() or not seal:
        return
    with contextlib.suppress(CampaignError):
        add_line(folder / FILE_NAME, asdict(Link(path.name, record_id, seal, previous)))
