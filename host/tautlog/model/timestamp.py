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
_OTHER_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)


def form_problem(text: object) -> str:
    """Say how a day is written; "" if it is an ISO 8601 day, year-month-day.

    Days in another order are not taken: 3/4/2026 is in March or in April.
    """
    typed = str(text)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed, re.ASCII) and _is_day(typed):
        return ""
    return f"expected an ISO 8601 day, year-month-day, such as {meant_day(typed)}"


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
    if problem := form_problem(text):
        return problem
    day = date.fromisoformat(str(text))
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


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def meant_day(text: str) -> str:
    """The ISO forms of a day written in another way, or an example."""
    found = _OTHER_DAY.fullmatch(text.strip())
    if not found:
        return "2026-03-01"
    first, dot, middle, last = found.groups()
    year = f"20{last}" if len(last) == 2 else last
    orders = [(middle, first)] if dot == "." else [(middle, first), (first, middle)]
    days = [f"{year}-{month:0>2}-{day:0>2}" for month, day in orders]
    there = [day for day in dict.fromkeys(days) if _is_day(day)]
    return " or ".join(there) or "2026-03-01"


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
