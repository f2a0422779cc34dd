"""Seal chain: the order in which the records of a campaign were sealed.

`chain.jsonl` next to campaign.toml has one line for each sealed record: name, record_id,
seal, the newest seal when the record was begun, and the newest when it was sealed. The two
differ if another record was sealed meanwhile: a drop that was killed may be recovered after the
next one. Each record also holds the first of them under its own seal. So a record that was
removed or replaced is detected, even if the chain was changed to match.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.files.json_lines import add_line
from tautlog.files.ordinary import read_ordinary, require_ordinary
from tautlog.files.strict_json import read_object

FILE_NAME = "chain.jsonl"
_LAST_BYTES = 1 << 16  # some two hundred lines: enough before a drop


@dataclass(frozen=True)
class ChainLink:
    """One sealed record of a campaign.

    Attributes
    ----------
    name, record_id, seal : str
        Name of its file, its identity, and its seal.
    previous, after : str
        The newest seal of the chain when it was begun, and when it was sealed; "" if there was
        none. `after` is "" in the chains of older programs, too.
    """

    name: str
    record_id: str
    seal: str
    previous: str
    after: str = ""


def read_chain(folder: Path) -> list[ChainLink]:
    """Links of a folder, oldest first; damaged lines are left out."""
    return check_lines(folder)[0]


def check_lines(folder: Path) -> tuple[list[ChainLink], str]:
    """Links of a folder, oldest first, and why the chain is incomplete, or ""."""
    try:
        lines = read_ordinary(folder / FILE_NAME).decode("utf-8", "replace").splitlines()
    except FileNotFoundError:
        return [], "it is gone"
    except OSError as problem:
        return [], f"it cannot be read: {problem.strerror}"
    read = [_link_of(line) for line in lines]
    links = [link for link in read if link is not None]
    if len(links) == len(lines):
        return links, ""
    bad = len(lines) - len(links)
    first = read.index(None) + 1
    return links, f"{bad} of {len(lines)} lines are damaged, the first is line {first}"


def _link_of(line: str) -> ChainLink | None:
    try:
        values = {"after": "", **read_object(line)}
        return ChainLink(**{name: str(values[name]) for name in ChainLink.__dataclass_fields__})
    except (ValueError, KeyError):
        return None


def is_chained(folder: Path, record_id: str) -> bool:
    """Whether a record was sealed in a folder, whatever its file says now."""
    return any(link.record_id == record_id for link in read_chain(folder))


def last_seal(folder: Path) -> str:
    """Seal of the record that was sealed last in a folder, or ""."""
    try:
        require_ordinary(folder / FILE_NAME)
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
    # All of these lines are damaged: read the whole chain.
    links = read_chain(folder)
    return links[-1].seal if links else ""


def add_link(path: Path, record_id: str, seal: str, previous: str) -> None:
    """Append a newly sealed record to the chain of its campaign, if it has one.

    A chain that cannot be written does not fail the record: `verify` reports it.
    """
    folder = path.parent
    if not (folder / CAMPAIGN_FILE).is_file() or not seal:
        return
    with contextlib.suppress(CampaignError):
        link = ChainLink(path.name, record_id, seal, previous, last_seal(folder))
        add_line(folder / FILE_NAME, asdict(link))
