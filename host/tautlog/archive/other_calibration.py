"""Other calibration: mark a record with a calibration other than its own.

The record keeps its own calibration under its seal. A marking run that used another
calibration keeps which it was, who chose it and why.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from tautlog.calibrate.kept import (
    channel_in,
    file_called,
    measured_in,
    newest_file,
    standing_files,
)
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import find_campaign
from tautlog.model.calibration import Calibration
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp
from tautlog.record.recalibration import Recalibration

NEWEST, OWN = "newest", "own"


def choose(
    which: str,
    record_path: Path,
    own: Calibration,
    *,
    by: str,
    reason: str,
    names: tuple[str, ...] = (),
) -> Recalibration:
    """Choose a calibration for a record.

    Parameters
    ----------
    which : str
        A file, or the name or number of a calibration of the campaign; "newest" for the
        campaign's newest; "own" for the record's own.
    record_path : Path
        The record; its campaign is that of its folder or of a folder above.
    own : Calibration
        The record's own calibration.
    by, reason : str
        Who chooses it, and why.
    names : tuple of str
        The record's channels. The calibration of a leg is used for that leg.

    Raises
    ------
    CampaignError
        If the name or reason is missing, or there is no such calibration.
    """
    by, reason = signed(by), signed(reason)
    if not by or not reason:
        raise CampaignError("another calibration needs a name (--by) and a reason (--reason)")
    if which == OWN:
        return Recalibration("", "", by, reason, stamp(), own)
    path = _file(which, record_path)
    _refuse_superseded(path)
    measured, text = measured_in(path)
    used, channel = replace(own, **measured), channel_in(path)
    if channel and channel not in names[1:]:
        raise CampaignError(
            f"{path.name} is of channel {channel!r}, which {record_path.name} does not have"
        )
    sha256 = hashlib.sha256(text).hexdigest()
    return Recalibration(path.name, sha256, by, reason, stamp(), used, channel)


def _file(which: str, record_path: Path) -> Path:
    """Path of the chosen calibration file."""
    found = find_campaign(record_path.parent)
    folder = record_path.parent if found is None else found.parent
    if which == NEWEST:
        path = newest_file(folder)
        if path is None:
            raise CampaignError(
                f"{folder} has no calibration: name a file, or make one with `tautlog calibrate`"
            )
        return path
    if Path(which).is_file():
        return Path(which)
    path = file_called(folder, which)
    if path is None:
        names = ", ".join(file.path.name for file in standing_files(folder)) or "none"
        raise CampaignError(f"there is no calibration {which!r}; {folder} has: {names}")
    return path


def _refuse_superseded(path: Path) -> None:
    """Refuse a calibration that was corrected."""
    for file in standing_files(path.parent.parent):
        if file.path.name == path.name and file.superseded_by:
            raise CampaignError(
                f"{path.name} was superseded by {file.superseded_by} ({file.reason}): use that file"
            )


def corrected_since(record_path: Path, used: Calibration) -> str:
    """Which file of the campaign superseded the calibration used, in words.

    "" if the calibration still counts, or is not from the campaign's files.
    """
    for file in standing_files(record_path.parent):
        if not file.superseded_by:
            continue
        try:
            measured, _ = measured_in(file.path)
        except CampaignError:
            continue
        if all(getattr(used, name) == value for name, value in measured.items()):
            return f"{file.path.name} was superseded by {file.superseded_by} ({file.reason})"
    return ""
