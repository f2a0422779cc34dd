"""Chain: the order in which the records of a campaign were sealed.

`chain.jsonl` beside campaign.toml has one line for each sealed record: name, record_id,
seal and the seal of the record before it. Each record carries that seal in itself, under
its own, so that a record that was taken away or put in the place of another shows, also
when the file was changed to match.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.folder import CAMPAIGN_FILE
from tautlog.jsonlines import add_line
from tautlog.safe_json import read_json

FILE_NAME = "chain.jsonl"
_LAST_BYTES = 1 << 16  # some two hundred lines: before a drop nobody reads thousands


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
        lines = (folder / FILE_NAME).read_text("utf-8", "replace").splitlines()
    except OSError:
        return []
    return [link for link in map(_link, lines) if link is not None]


def _link(line: str) -> Link | None:
    try:
        told = read_json(line)
        return Link(**{name: str(told[name]) for name in Link.__dataclass_fields__})
    except (ValueError, KeyError, TypeError):
        return None


def last_seal(folder: Path) -> str:
    """Seal of the record that was sealed last in a folder, or ""."""
    try:
        with open(folder / FILE_NAME, "rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - _LAST_BYTES, 0))
            end = file.read().decode("utf-8", "replace")
    except OSError:
        return ""
    for line in reversed(end.splitlines()):
        link = _link(line)
        if link is not None:
            return link.seal
    # Nothing but lines that are none, so far back.
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
