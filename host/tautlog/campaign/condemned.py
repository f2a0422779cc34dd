"""Condemned: articles and lines that must not be dropped any more.

An article is condemned by the newest inspection that was entered of it, a line or an article
by `retired` in campaign.toml. A named person may drop all the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tautlog.archive.summary import RecordSummary
from tautlog.model.inspection import NOT_INSPECTED, WHOLE
from tautlog.model.names import alike


@dataclass(frozen=True)
class Retired:
    """What campaign.toml retires: an "article" or a "line", its name, and why."""

    kind: str
    name: str
    why: str


def condemned(
    records: Iterable[RecordSummary], retired: tuple[Retired, ...], *, article: str, line: str
) -> tuple[str, ...]:
    """Why article or line must not be dropped, in words; none where nothing says so.

    Parameters
    ----------
    records : iterable of RecordSummary
        Of the campaign, by the time of the drop.
    retired : tuple of Retired
        By campaign.toml.
    article, line : str
        Of the drop that is intended; "" where nobody named one.
    """
    named = {"article": article, "line": line}
    found = [
        f"{one.kind} {one.name!r} is retired by campaign.toml: {one.why}"
        for one in retired
        if named[one.kind] and alike(named[one.kind], one.name)
    ]
    inspected = [
        one
        for one in records
        if article
        and alike(one.article, article)
        and not one.rehearsed
        and one.found not in ("", NOT_INSPECTED)
    ]
    if inspected and inspected[-1].found not in WHOLE:
        last = inspected[-1]
        found.append(
            f"article {article!r} was found {last.found} after {last.name}: take another one, or "
            "enter a newer inspection (`tautlog inspect`)"
        )
    return tuple(found)
