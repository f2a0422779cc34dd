"""Moment: the time as it stands in the files of a campaign, a label only."""

from __future__ import annotations

from datetime import UTC, datetime


def stamp(moment: datetime | None = None) -> str:
    """ISO 8601 to the second, UTC; now if no moment is given."""
    return f"{moment or datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"


def today() -> str:
    """ISO date, UTC."""
    return f"{datetime.now(UTC):%Y-%m-%d}"
