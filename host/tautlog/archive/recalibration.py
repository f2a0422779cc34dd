"""Recalibration: a record marked with another calibration than that of its day.

The calibration under which a drop was recorded stays in the record, under its seal. Which
other one a marking run used, on whose word and why, stands with that run.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from tautlog.calibrate.kept import file_called, measured_in, newest_file, standing_files
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import find_campaign
from tautlog.model.calibration import Calibration
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp
from tautlog.record.recalibration import Recalibration

NEWEST, OWN = "newest", "own"


def choose(
    which: str, record_path: Path, own: Calibration, *, by: str, reason: str
) -> Recalibration:
    """Take another calibration for a record.

    Parameters
    ----------
    which : str
        A file, or the name or number of one of the campaign's; "newest", the newest of the
        record's campaign; "own", that of the record itself.
    record_path : Path
        The record; its campaign is that of its folder or of one above it.
    own : Calibration
        As it stands in the record.
    by, reason : str
        On whose word, and why.

    Raises
    ------
    CampaignError
        If name or reason lack, or there is no such calibration.
    """
    by, reason = signed(by), signed(reason)
    if not by or not reason:
        raise CampaignError("another calibration is taken on a name (--by) and a reason (--reason)")
    if which == OWN:
        return Recalibration("", "", by, reason, stamp(), own)
    path = _file(which, record_path)
    _refuse_superseded(path)
    measured, text = measured_in(path)
    used = replace(own, **measured)
    return Recalibration(path.name, hashlib.sha256(text).hexdigest(), by, reason, stamp(), used)


def _file(which: str, record_path: Path) -> Path:
    """The calibration's file that is meant."""
    found = find_campaign(record_path.parent)
    folder = record_path.parent if found is None else found.parent
    if which == NEWEST:
        path = newest_file(folder)
        if path is None:
            raise CampaignError(
                f"{folder} has no calibrations: name a file, or make one with `tautlog calibrate`"
            )
        return path
    if Path(which).is_file():
        return Path(which)
    path = file_called(folder, which)
    if path is None:
        names = ", ".join(one.path.name for one in standing_files(folder)) or "none"
        raise CampaignError(f"there is no calibration {which!r}; in {folder} there are: {names}")
    return path


def _refuse_superseded(path: Path) -> None:
    """What was corrected is taken no more."""
    for one in standing_files(path.parent.parent):
        if one.path.name == path.name and one.superseded_by:
            raise CampaignError(
                f"{path.name} was superseded by {one.superseded_by} ({one.reason}): take that one"
            )


def corrected_since(record_path: Path, used: Calibration) -> str:
    """Which file of the record's campaign holds a calibration that was corrected, and by what.

    "" where it still counts, or is none of the campaign's files.
    """
    for one in standing_files(record_path.parent):
        if not one.superseded_by:
            continue
        try:
            measured, _ = measured_in(one.path)
        except CampaignError:
            continue
        if all(getattr(used, name) == value for name, value in measured.items()):
            return f"{one.path.name} was superseded by {one.superseded_by} ({one.reason})"
    return ""
