"""Calibrations of a campaign: one file for each, the newest in use.

The files lie in the campaign's folder `calibrations`. Files are only added. Each holds its
points as they were read, so that it can be calculated again. A later file supersedes a wrong
calibration, with a name and a reason, and takes its place; the wrong file stays. An implausible
calibration is kept only if a named person accepts it. A file whose name does not give its place
in the order is not read, and nothing may be dropped until somebody renames or removes it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.calibrate.kept import (
    FOLDER,
    FORMAT,
    channel_in,
    file_called,
    standing_files,
    unread_files,
)
from tautlog.calibrate.plausibility import (
    point_doubts,
    sign_doubts,
    slope_doubts,
    uncertainty_doubts,
    unchecked_scale,
)
from tautlog.errors import CalibrationError, CampaignError
from tautlog.files.numbered import write_numbered
from tautlog.model.signature import signed
from tautlog.model.timestamp import day_problem, stamp

if TYPE_CHECKING:
    from tautlog.calibrate.calibrating import (
        Calibrated,  # needs scipy, which reading a calibration does not
    )
    from tautlog.campaign.campaign import Campaign

VERSION = 1


@dataclass(frozen=True)
class Word:
    """A signed statement: a name and a reason, neither empty."""

    by: str
    reason: str

    def __post_init__(self) -> None:
        if not signed(self.by) or not signed(self.reason):
            raise CampaignError("a name and a reason are needed; neither may be empty")


def add_calibration(
    campaign: Campaign,
    made: Calibrated,
    *,
    accepted: Word | None = None,
    supersedes: str = "",
    word: Word | None = None,
) -> Path:
    """Write a calibration to a new file of the campaign.

    Parameters
    ----------
    campaign : Campaign
        Gives data sheets and earlier calibrations; for another leg, see `Campaign.for_channel`.
    made : Calibrated
        The calibration, with its points.
    accepted : Word, optional
        Who keeps it although it is implausible, and why.
    supersedes, word : str, Word
        Name of the file that it corrects; who corrects it, and why.

    Raises
    ------
    CalibrationError
        If it is implausible and nobody accepts it; then it is not kept.
    CampaignError
        If it cannot be written, or the superseded file is missing or superseded already.
    """
    wrong = day_problem(made.calibration.date)
    if wrong:
        raise CalibrationError(
            f"date {made.calibration.date!r}: {wrong}; the calibration is not kept"
        )
    doubts = doubts_of(campaign, made)
    if doubts and accepted is None:
        raise CalibrationError(
            f"the calibration is implausible and not kept: {'; '.join(doubts)}. Correct it, or "
            "let a named person keep it with --accept NAME REASON"
        )
    used = made.calibration
    if accepted is not None and doubts:
        used = replace(used, accepted=f"{accepted.by}: {accepted.reason}")
    now = datetime.now(UTC)
    channel = file_channel(campaign)
    content = _as_json(replace(made, calibration=used), now) | {"doubts": list(doubts)}
    content |= _about(campaign, channel)
    if supersedes:
        file = _in_force(campaign.folder, supersedes, channel)
        content["supersedes"] = _correction(file, word, now)
    return write_numbered(campaign.folder / FOLDER, content, now)


def _about(campaign: Campaign, channel: str) -> dict[str, object]:
    """What a file says of its campaign: the channel, and that it was made to practise with."""
    practised: dict[str, object] = {"rehearsed": True} if campaign.rehearsed else {}
    return practised | ({"channel": channel} if channel else {})


def _correction(file: str, word: Word | None, now: datetime) -> dict[str, str]:
    if word is None:
        raise CampaignError("to supersede a calibration, give a name and a reason")
    return {"file": file, **asdict(word), "utc": stamp(now)}


def file_channel(campaign: Campaign) -> str:
    """The channel that a file of this campaign's calibrations names; "" for the first."""
    name = campaign.cell.channel
    return name if any(leg.name == name for leg in campaign.force_channels) else ""


def doubts_of(campaign: Campaign, made: Calibrated) -> tuple[str, ...]:
    """Why a new calibration of a campaign is implausible."""
    return (
        point_doubts(made.points, made.calibration)
        + sign_doubts(made.calibration, campaign.stated_newton_per_volt, measured=True)
        + slope_doubts(
            made.calibration,
            promised=campaign.promised_newton_per_volt,
            planned_n=campaign.setup.upper_n,
            before=campaign.calibration if _has_comparison(campaign) else None,
        )
        + uncertainty_doubts(made.calibration)
    )


def scale_unchecked(campaign: Campaign | None) -> str:
    """Say that nothing checks the scale of a new calibration; "" if something does."""
    if campaign is None:
        return unchecked_scale(("a campaign.toml with the cell's data sheet",), before=False)
    return unchecked_scale(campaign.not_promised, _has_comparison(campaign))


def _has_comparison(campaign: Campaign) -> bool:
    """Whether the campaign's present calibration can check a new one."""
    doubts = set(campaign.calibration_doubts) - set(unread_files(campaign.folder))
    return campaign.calibration_stated and not doubts


def _in_force(campaign_folder: Path, name: str, channel: str) -> str:
    """Name of the calibration file to supersede; refuse a name that cannot be superseded."""
    there = standing_files(campaign_folder)
    path = file_called(campaign_folder, name)
    if path is None:
        names = ", ".join(file.path.name for file in there) or "none"
        raise CampaignError(f"no calibration {name!r} in this campaign; it has: {names}")
    after = next(file.superseded_by for file in there if file.path == path)
    of = channel_in(path)
    if of != channel:
        raise CampaignError(
            f"{path.name} is of channel {of or 'the first'}, this one of {channel or 'the first'}: "
            "give --channel"
        )
    if after:
        raise CampaignError(f"{path.name} is already superseded by {after}: supersede that file")
    return path.name


def _as_json(made: Calibrated, now: datetime) -> dict[str, object]:
    fit = made.fit
    return {
        "format": FORMAT,
        "version": VERSION,
        "utc": stamp(now),
        "calibration": asdict(made.calibration),
        "points": [asdict(point) for point in made.points],
        "degree": made.degree,
        "coefficients_n_per_volt_power": [float(value) for value in fit.coefficients],
        "standard_deviations": [float(value) for value in fit.standard_deviations],
        "residuals_n": [float(value) for value in fit.residuals],
        "residual_sd_n": fit.residual_sd,
        "hysteresis_fraction": made.hysteresis_fraction,
        "repeatability_fraction": made.repeatability_fraction,
        "zero_return_fraction": made.zero_return_fraction,
        "uncertainty": [
            {"name": part.name, "u_n": part.u, "basis": part.basis} for part in made.budget.parts
        ],
        "expanded_u_n": made.budget.expanded_u,
        "warnings": list(made.warnings),
    }


def as_json(made: Calibrated) -> dict[str, object]:
    """A calibration as ``tautlog calibrate --json`` prints it."""
    return _as_json(made, datetime.now(UTC))
