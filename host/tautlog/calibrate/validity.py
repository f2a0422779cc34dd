"""Validity: whether a calibration counts on the day of its use.

`plausibility` checks its figures. A named person may use an expired calibration; nobody may use
a calibration without a date or an uncertainty.
"""

from __future__ import annotations

import math

from tautlog.model.calibration import Calibration
from tautlog.model.load_path import PathCheck
from tautlog.model.timestamp import day_problem

CALIBRATE = "calibrate (`tautlog calibrate`), or state it under [calibration] in campaign.toml"


def validity(calibration: Calibration, day: str) -> tuple[PathCheck, ...]:
    """Checks that refuse a calibration on an ISO day; if none does, one check that holds."""
    found = [
        check for check in (_uncertainty(calibration), _date(calibration, day)) if check is not None
    ]
    if found:
        return tuple(found)
    end = (
        f"valid for {calibration.good_for_days} days"
        if calibration.good_for_days
        else "with no end stated"
    )
    return (PathCheck("calibration-date", True, f"calibration: of {calibration.date}, {end}"),)


def _uncertainty(calibration: Calibration) -> PathCheck | None:
    share, own_n = calibration.expanded_u_fraction, calibration.expanded_u_n
    if 0.0 < share <= 1.0 and 0.0 <= own_n < math.inf:
        return None
    text = (
        f"calibration: its expanded uncertainty is {100 * share:g} % and {own_n:g} N; allowed is "
        f"more than 0 to 100 %, and 0 N or more: every measurement has one; {CALIBRATE}"
    )
    return PathCheck("calibration-uncertainty", False, text, refuses=True, final=True)


def _date(calibration: Calibration, day: str) -> PathCheck | None:
    date = calibration.date
    if not date:
        text = f"calibration: its day is not stated (date); {CALIBRATE}"
        return PathCheck("calibration-date", False, text, refuses=True, final=True)
    problem = day_problem(date)
    if problem:
        text = f"calibration: its date is {date!r}: {problem}; {CALIBRATE}"
        return PathCheck("calibration-date", False, text, refuses=True, final=True)
    if calibration.expired_on(day):
        text = (
            f"calibration: it is of {date} and valid for {calibration.good_for_days} days: it is "
            f"too old on {day[:10]}; calibrate again"
        )
        return PathCheck("calibration-expired", False, text, refuses=True)
    return None
