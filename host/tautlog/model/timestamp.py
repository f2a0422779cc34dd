"""Moment: the time as it stands in the files of a campaign, a label only."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta


def stamp(moment: datetime | None = None) -> str:
    """ISO 8601 to the second, UTC; now if no moment is given."""
    return f"{moment or datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"


def today() -> str:
    """ISO date, UTC."""
    return f"{datetime.now(UTC):%Y-%m-%d}"


EARLIEST = 1990  # no day of a calibration or a proof lies before it
_OTHER_DAY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")


def day_problem(text: object, *, now: datetime | None = None) -> str:
    """Say what is wrong with a day, or "" where it is one of ISO 8601 and not to come.

    A laptop's zone may be ahead of UTC: tomorrow counts as today.

    Parameters
    ----------
    text : object
        Such as "2026-03-01".
    now : datetime, optional
        The present moment.
    """
    told = str(text)
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", told):
            raise ValueError
        day = date.fromisoformat(told)
    except ValueError:
        return f"allowed is a day of ISO 8601, year-month-day, such as {_meant(told)}"
    here = (now or datetime.now(UTC)).date()
    if day > here + timedelta(days=1):
        return f"it lies in the future; this computer says that today is {here}"
    if day.year < EARLIEST:
        return f"allowed is a day from {EARLIEST} on"
    return ""


CLOCKS_U = timedelta(minutes=1)  # one clock may be ahead of another by so much


def moment_problem(text: object, *, now: datetime | None = None) -> str:
    """Say what is wrong with a moment, or "" where it is one as `stamp` writes and has been.

    Parameters
    ----------
    text : object
        Such as "2026-03-01T18:24:55Z".
    now : datetime, optional
        The present moment.
    """
    told = str(text)
    allowed = "allowed is a moment of ISO 8601 in UTC, such as 2026-03-01T18:24:55Z"
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z", told):
        return allowed
    try:
        moment = datetime.fromisoformat(told.replace("Z", "+00:00"))
    except ValueError:
        return allowed
    here = now or datetime.now(UTC)
    if moment > here + CLOCKS_U:
        return f"it lies in the future; this computer says that it is {stamp(here)}"
    return day_problem(told[:10], now=here)


def _meant(text: str) -> str:
    """The ISO form of a day that was written another way, or an example."""
    found = _OTHER_DAY.fullmatch(text.strip())
    if found and "." in text and int(found[2]) <= 12:
        return f"{found[3]}-{int(found[2]):02d}-{int(found[1]):02d}"
    return f"{found[3]}-03-01" if found else "2026-03-01"
