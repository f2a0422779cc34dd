"""Timestamp: the time in the files of a campaign; a label only."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

from tautlog.errors import CampaignError


def stamp(time: datetime | None = None) -> str:
    """A time (default: now) by ISO 8601, to the second, UTC."""
    return f"{time or datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"


def today() -> str:
    """ISO date, UTC."""
    return f"{datetime.now(UTC):%Y-%m-%d}"


EARLIEST = 1990  # no calibration or proof is older
_OTHER_DAY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")


def day_problem(text: object, *, now: datetime | None = None) -> str:
    """Say what is wrong with a day; "" if it is an ISO 8601 day and not in the future.

    The laptop's time zone may be ahead of UTC: tomorrow counts as today.

    Parameters
    ----------
    text : object
        Such as "2026-03-01".
    now : datetime, optional
        The present time.
    """
    typed = str(text)
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed):
            raise ValueError
        day = date.fromisoformat(typed)
    except ValueError:
        return f"expected an ISO 8601 day, year-month-day, such as {_meant(typed)}"
    here = (now or datetime.now(UTC)).date()
    if day > here + timedelta(days=1):
        return f"it lies in the future; this computer's clock says {here}"
    if day.year < EARLIEST:
        return f"expected a day in {EARLIEST} or later"
    return ""


CLOCKS_U = timedelta(minutes=1)  # one clock may be this much ahead of another


def time_problem(text: object, *, now: datetime | None = None) -> str:
    """Say what is wrong with a time; "" if it is written as by `stamp` and not in the future.

    Parameters
    ----------
    text : object
        Such as "2026-03-01T18:24:55Z".
    now : datetime, optional
        The present time.
    """
    typed = str(text)
    expected = "expected an ISO 8601 time in UTC, such as 2026-03-01T18:24:55Z"
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z", typed):
        return expected
    try:
        time = datetime.fromisoformat(typed.replace("Z", "+00:00"))
    except ValueError:
        return expected
    here = now or datetime.now(UTC)
    if time > here + CLOCKS_U:
        return f"it lies in the future; this computer's clock says {stamp(here)}"
    return day_problem(typed[:10], now=here)


def _meant(text: str) -> str:
    """The ISO form of a day written in another way, or an example."""
    found = _OTHER_DAY.fullmatch(text.strip())
    if found and "." in text and int(found[2]) <= 12:
        return f"{found[3]}-{int(found[2]):02d}-{int(found[1]):02d}"
    return f"{found[3]}-03-01" if found else "2026-03-01"


def require_time(name: str, text: object) -> None:
    """Refuse a time of an entry that `time_problem` objects to.

    Raises
    ------
    CampaignError
        Names the value, and says what is wrong with it.
    """
    problem = time_problem(text)
    if problem:
        raise CampaignError(f"{name} = {text!r}: {problem}")
