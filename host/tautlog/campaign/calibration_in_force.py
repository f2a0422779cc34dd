"""Calibration in force: the newest that a campaign has, and why it must not be used."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tautlog.calibrate.kept import (
    newest_calibration,
    newest_file,
    newest_readable,
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
class InForce:
    """A campaign's calibration as it stands now.

    Attributes
    ----------
    calibration : Calibration
        The newest put over what campaign.toml states.
    stated : bool
        Somebody said or measured its slope; else it is assumed.
    doubts : tuple of str
        Why it must not be used; none where it is plausible, or accepted by a named person.
    left_out : str
        What is wrong with newer calibrations than this one, of what looks back only.
    """

    calibration: Calibration
    stated: bool
    doubts: tuple[str, ...]
    left_out: str = ""


def calibration_in_force(folder: Path, said: Stated, *, to_drop: bool) -> InForce:
    """The calibration of a campaign's folder; see `campaign.read_campaign` for `to_drop`.

    Raises
    ------
    CampaignError
        If the newest cannot be read and is needed.
    """
    measured = newest_file(folder) is not None
    stated = said.newton_per_volt is not None or measured
    if to_drop:
        used, left_out = newest_calibration(folder, said.calibration), ""
    else:
        used, left_out = newest_readable(folder, said.calibration)
    # Nothing may be dropped under what was left out, whoever asks.
    doubts = (left_out,) if left_out else _doubts(used, said, measured=measured)
    return InForce(used, stated, unread_files(folder) + doubts, left_out)


def promised_slope(cell: Cell, amplifier: Amplifier) -> float | None:
    """Newton per volt that the cell's certificate or sheet and the gain promise, or None."""
    return data_sheet_slope(cell.rated_n, cell.best_mv_per_v, cell.excitation_v, amplifier.gain)


def _doubts(used: Calibration, said: Stated, *, measured: bool) -> tuple[str, ...]:
    if said.newton_per_volt is None and not measured:
        return (
            "no calibration is stated: calibrate (`tautlog calibrate`), or say newton_per_volt in "
            "campaign.toml",
        )
    promised = promised_slope(said.cell, said.amplifier)
    doubts = (
        sign_doubts(used, said.newton_per_volt, measured=measured)
        + slope_doubts(used, promised=promised, planned_n=said.setup.upper_n)
        + uncertainty_doubts(used)
    )
    if not doubts or accepted_by(used):
        return ()
    return (
        *doubts,
        "calibrate again, or let a named person accept it (`tautlog calibrate --accept`, or "
        'accepted = "NAME: REASON" in [calibration])',
    )
