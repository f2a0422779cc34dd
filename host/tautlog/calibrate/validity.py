"""Validity: whether a calibration counts on the day on which it is used.

Whether its figures are plausible is asked in `plausibility`. An expired one may be used on a
named person's word; one that tells no age, or no uncertainty, by nobody.
"""

from __future__ import annotations

import math

from tautlog.model.calibration import Calibration
from tautlog.model.load_path import PathCheck
from tautlog.model.timestamp import day_problem

CALIBRATE = "calibrate (`tautlog calibrate`), or say it under [calibration] of campaign.toml"


def validity(calibration: Calibration, day: str) -> tuple[PathCheck, ...]:
    """What speaks against using a calibration on an ISO day; one that holds where nothing does."""
    found = [
        check for check in (_uncertainty(calibration), _date(calibration, day)) if check is not None
    ]
    if found:
        return tuple(found)
    told = (
        f"good for {calibration.good_for_days} days"
        if calibration.good_for_days
        else "with no end stated"
    )
    return (PathCheck("calibration-date", True, f"calibration: of {calibration.date}, {told}"),)


def _uncertainty(calibration: Calibration) -> PathCheck | None:
    share, own_n = calibration.expanded_u_fraction, calibration.expanded_u_n
    if 0.0 < share <= 1.0 and 0.0 <= own_n < math.inf:
        return None
    text = (
        f"calibration: its expanded uncertainty is {100 * share:g} % and {own_n:g} N, allowed is "
        f"more than 0 to 100 %, and 0 N or more: no measurement has none; {CALIBRATE}"
    )
    return PathCheck("calibration-uncertainty", False, text, refuses=True, final=True)


def _date(calibration: Calibration, day: str) -> PathCheck | None:
    date = calibration.date
    if not date:
        text = f"calibration: nobody said of which day it is (date); {CALIBRATE}"
        return PathCheck("calibration-date", False, text, refuses=True, final=True)
    problem = day_problem(date)
    if problem:
        text = f"calibration: its date is {date!r}: {problem}; {CALIBRATE}"
        return PathCheck("calibration-date", False, text, refuses=True, final=True)
    if calibration.expired_on(day):
        text = (
            f"calibration: it is of {date} and good for {calibration.good_for_days} days: it was "
            f"too old on {day[:10]}; calibrate again"
        )
        return PathCheck("calibration-expired", False, text, refuses=True)
    return None
