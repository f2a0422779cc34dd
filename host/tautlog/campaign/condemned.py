"""Condemned: articles and lines that must no longer be dropped.

The newest inspection of an article may condemn it; `retired` in campaign.toml condemns a line or
an article. A named person may override that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tautlog.archive.summary import RecordSummary
from tautlog.model.inspection import NOT_INSPECTED, WHOLE
from tautlog.model.names import alike


@dataclass(frozen=True)
class Retired:
    """A thing that campaign.toml retires: kind ("article" or "line"), name, and why."""

    kind: str
    name: str
    why: str


def condemned(
    records: Iterable[RecordSummary], retired: tuple[Retired, ...], *, article: str, line: str
) -> tuple[str, ...]:
    """Why article or line must not be dropped, in words; empty if they may be.

    Parameters
    ----------
    records : iterable of RecordSummary
        Records of the campaign, by time of the drop.
    retired : tuple of Retired
        What campaign.toml retires.
    article, line : str
        Names for the intended drop; "" if not named.
    """
    named = {"article": article, "line": line}
    found = [
        f"campaign.toml retires {thing.kind} {thing.name!r}: {thing.why}"
        for thing in retired
        if named[thing.kind] and alike(named[thing.kind], thing.name)
    ]
    inspected = [
        record
        for record in records
        if article
        and alike(record.article, article)
        and not record.rehearsed
        and record.found not in ("", NOT_INSPECTED)
    ]
    if inspected and inspected[-1].found not in WHOLE:
        last = inspected[-1]
        found.append(
            f"article {article!r} was found {last.found} after {last.name}: use another article, "
            "or enter a newer inspection (`tautlog inspect`)"
        )
    return tuple(found)
