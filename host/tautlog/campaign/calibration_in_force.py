"""Calibration in force: a campaign's newest calibration, and why it must not be used."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tautlog.calibrate.kept import (
    newest_calibration,
    newest_file,
    newest_readable,
    rehearsed_files,
    unread_files,
)
from tautlog.calibrate.plausibility import (
    accepted_by,
    data_sheet_slope,
    sign_doubts,
    slope_doubts,
    uncertainty_doubts,
)
from tautlog.campaign.sections import Amplifier, Cell
from tautlog.campaign.stated import Stated
from tautlog.model.calibration import Calibration


@dataclass(frozen=True)
class CalibrationInForce:
    """A campaign's present calibration.

    Attributes
    ----------
    calibration : Calibration
        The newest calibration; what it does not hold, campaign.toml states.
    stated : bool
        The slope was stated or measured; else it is assumed.
    doubts : tuple of str
        Why it must not be used; empty if it is plausible, or accepted by a named person.
    left_out : str
        What is wrong with newer calibrations that were left out; for looking back only.
    """

    calibration: Calibration
    stated: bool
    doubts: tuple[str, ...]
    left_out: str = ""


def calibration_in_force(folder: Path, stated: Stated, *, to_drop: bool) -> CalibrationInForce:
    """The calibration of a campaign's folder; see `campaign.read_campaign` for `to_drop`.

    Raises
    ------
    CampaignError
        If the newest calibration cannot be read and `to_drop` is set.
    """
    measured = newest_file(folder) is not None
    if to_drop:
        used, left_out = newest_calibration(folder, stated.calibration), ""
    else:
        used, left_out = newest_readable(folder, stated.calibration)
    # Where a newer calibration was left out, nothing may be dropped.
    doubts = (left_out,) if left_out else _doubts(used, stated, measured=measured)
    known = stated.newton_per_volt is not None or measured
    if stated.campaign.kind != "rehearsal":
        doubts = rehearsed_files(folder) + doubts
    return CalibrationInForce(used, known, unread_files(folder) + doubts, left_out)


def promised_slope(cell: Cell, amplifier: Amplifier) -> float | None:
    """Newtons per volt by the cell's certificate or data sheet and the gain, or None."""
    return data_sheet_slope(cell.rated_n, cell.best_mv_per_v, cell.excitation_v, amplifier.gain)


def _doubts(used: Calibration, stated: Stated, *, measured: bool) -> tuple[str, ...]:
    if stated.newton_per_volt is None and not measured:
        return (
            "there is no calibration: calibrate (`tautlog calibrate`), or state newton_per_volt in "
            "campaign.toml",
        )
    promised = promised_slope(stated.cell, stated.amplifier)
    doubts = (
        sign_doubts(used, stated.newton_per_volt, measured=measured)
        + slope_doubts(used, promised=promised, planned_n=stated.setup.upper_n)
        + uncertainty_doubts(used)
    )
    if not doubts or accepted_by(used):
        return ()
    return (
        *doubts,
        "calibrate again, or let a named person accept it (`tautlog calibrate --accept`, or "
        'accepted = "NAME: REASON" in [calibration])',
    )
