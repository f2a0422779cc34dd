"""Seal chain: the order in which the records of a campaign were sealed.

`chain.jsonl` beside campaign.toml has one line for each sealed record: name, record_id,
seal, the seal that was the newest when the record was begun, and the one when it was sealed.
The two differ where another record was sealed meanwhile: a drop that was killed may be
recovered after the next one. Each record carries the first of them in itself, under its own
seal, so that a record that was taken away or put in the place of another shows, also when
the file was changed to match.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.files.json_lines import add_line
from tautlog.files.strict_json import read_object

FILE_NAME = "chain.jsonl"
_LAST_BYTES = 1 << 16  # some two hundred lines: before a drop nobody reads thousands


@dataclass(frozen=True)
class ChainLink:
    """One sealed record of a campaign.

    Attributes
    ----------
    name, record_id, seal : str
        Its file, and what it was sealed with.
    previous, after : str
        The newest seal of the chain when it was begun, and when it was sealed; "" where there
        was none, `after` also in the chains of older programs.
    """

    name: str
    record_id: str
    seal: str
    previous: str
    after: str = ""


def read_chain(folder: Path) -> list[ChainLink]:
    """Links of a folder, oldest first; lines that are none are left out."""
    return chain_told(folder)[0]


def chain_told(folder: Path) -> tuple[list[ChainLink], str]:
    """Links of a folder, oldest first, and why they are not all of them, or ""."""
    try:
        lines = (folder / FILE_NAME).read_text("utf-8", "replace").splitlines()
    except FileNotFoundError:
        return [], "it is gone"
    except OSError as problem:
        return [], f"it cannot be read: {problem.strerror}"
    told = [_link_of(line) for line in lines]
    links = [one for one in told if one is not None]
    if len(links) == len(lines):
        return links, ""
    bad = len(lines) - len(links)
    first = told.index(None) + 1
    return links, f"{bad} of {len(lines)} lines are no link, the first: line {first}"


def _link_of(line: str) -> ChainLink | None:
    try:
        told = {"after": "", **read_object(line)}
        return ChainLink(**{name: str(told[name]) for name in ChainLink.__dataclass_fields__})
    except (ValueError, KeyError):
        return None


def is_chained(folder: Path, record_id: str) -> bool:
    """Whether a record was sealed in a folder, whatever its file says now."""
    return any(one.record_id == record_id for one in read_chain(folder))


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
        link = _link_of(line)
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
        link = ChainLink(path.name, record_id, seal, previous, last_seal(folder))
        add_line(folder / FILE_NAME, asdict(link))
