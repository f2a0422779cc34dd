"""Calibrations: every one that a campaign has had, one file each, the newest in use.

Files lie in the folder `calibrations` of a campaign, are only ever added, and hold the
points as they were read, so that each can be worked out again. One that was wrong is
superseded by a later file, on a name and with a reason; it stays, and the later one takes its
place. What is not plausible is kept only where a named person accepts it. A file whose name
does not tell its place in the order is not read, and nothing is dropped until somebody says
what it is.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.calibrate.kept import (
    FOLDER,
    FORMAT,
    _number,
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
from tautlog.errors import CalibrationError, CampaignError, RecordError
from tautlog.files.new_file import new_file
from tautlog.model.signature import signed
from tautlog.model.timestamp import day_problem, stamp

if TYPE_CHECKING:
    from tautlog.calibrate.calibrating import (
        Calibrated,  # it needs scipy, reading a calibration does not
    )
    from tautlog.campaign.campaign import Campaign

VERSION = 1


@dataclass(frozen=True)
class Word:
    """Somebody's word for something: a name and a reason, neither empty."""

    by: str
    reason: str

    def __post_init__(self) -> None:
        if not signed(self.by) or not signed(self.reason):
            raise CampaignError("a name and a reason are needed, and neither is empty")


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
        Whose data sheets and earlier calibrations it is held against.
    made : Calibrated
        The calibration, with its points.
    accepted : Word, optional
        Who keeps it although it is not plausible.
    supersedes, word : str, Word
        Name of the file that it corrects, and on whose word.

    Raises
    ------
    CalibrationError
        If it is not plausible and nobody accepts it; nothing is kept then.
    CampaignError
        If it cannot be written, or supersedes what is no file in force.
    """
    wrong = day_problem(made.calibration.date)
    if wrong:
        raise CalibrationError(f"date {made.calibration.date!r}: {wrong}; nothing is kept")
    doubts = doubts_of(campaign, made)
    if doubts and accepted is None:
        raise CalibrationError(
            f"not plausible, not kept: {'; '.join(doubts)}. Mend it; a named person may keep it "
            "all the same: --accept NAME REASON"
        )
    used = made.calibration
    if accepted is not None and doubts:
        used = replace(used, accepted=f"{accepted.by}: {accepted.reason}")
    moment = datetime.now(UTC)
    content = _as_json(replace(made, calibration=used), moment) | {"doubts": list(doubts)}
    if supersedes:
        if word is None:
            raise CampaignError("what supersedes a calibration has a name and a reason")
        file = _in_force(campaign.folder, supersedes)
        content["supersedes"] = {"file": file, **asdict(word), "utc": stamp(moment)}
    return _write(campaign.folder / FOLDER, content, moment)


def _write(folder: Path, content: dict[str, object], moment: datetime) -> Path:
    """Put a calibration into a new file, numbered after all others."""
    text = json.dumps(content, indent=1, allow_nan=False) + "\n"
    try:
        folder.mkdir(exist_ok=True)
        number = 1 + max((_number(one) for one in folder.glob("*.json")), default=0)
        path = folder / f"{number:04d}_{moment:%Y-%m-%d}.json"
        with new_file(path) as draft:
            draft.write_text(text, encoding="utf-8")
    except RecordError as problem:
        raise CampaignError(str(problem)) from problem
    except OSError as problem:
        raise CampaignError(f"{folder} cannot be written: {problem.strerror}") from problem
    return path


def doubts_of(campaign: Campaign, made: Calibrated) -> tuple[str, ...]:
    """Why a new calibration of a campaign is not plausible."""
    return (
        point_doubts(made.points, made.calibration)
        + sign_doubts(made.calibration, campaign.stated_newton_per_volt, measured=True)
        + slope_doubts(
            made.calibration,
            promised=campaign.promised_newton_per_volt,
            planned_n=campaign.setup.upper_n,
            before=campaign.calibration if _tells_of_another(campaign) else None,
        )
        + uncertainty_doubts(made.calibration)
    )


def scale_unchecked(campaign: Campaign | None) -> str:
    """Say that nothing checks the scale of a new calibration, or "" where something does."""
    if campaign is None:
        return unchecked_scale(("a campaign.toml with the cell's data sheet",), before=False)
    return unchecked_scale(campaign.not_promised, _tells_of_another(campaign))


def _tells_of_another(campaign: Campaign) -> bool:
    """Whether what the campaign goes by now can tell of a new calibration."""
    doubts = set(campaign.calibration_doubts) - set(unread_files(campaign.folder))
    return campaign.calibration_stated and not doubts


def _in_force(campaign_folder: Path, name: str) -> str:
    """Name of a file that may be superseded."""
    there = standing_files(campaign_folder)
    path = file_called(campaign_folder, name)
    if path is None:
        names = ", ".join(one.path.name for one in there) or "none"
        raise CampaignError(f"no calibration {name!r} here; there are: {names}")
    after = next(one.superseded_by for one in there if one.path == path)
    if after:
        raise CampaignError(f"{path.name} is superseded already, by {after}: supersede that")
    return path.name


def _as_json(made: Calibrated, moment: datetime) -> dict[str, object]:
    fit = made.fit
    return {
        "format": FORMAT,
        "version": VERSION,
        "utc": stamp(moment),
        "calibration": asdict(made.calibration),
        "points": [asdict(one) for one in made.points],
        "degree": made.degree,
        "coefficients_n_per_volt_power": [float(one) for one in fit.coefficients],
        "standard_deviations": [float(one) for one in fit.standard_deviations],
        "residuals_n": [float(one) for one in fit.residuals],
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
