"""Calibrations: every one that a campaign has had, one file each, the newest in use.

Files lie in the folder `calibrations` of a campaign, are only ever added, and hold the
points as they were read, so that each can be worked out again.
"""

from __future__ import annotations

import json
from dataclasses import asdict, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautlog.calibration import Calibration
from tautlog.errors import CampaignError
from tautlog.moment import stamp

if TYPE_CHECKING:
    from tautlog.calibrating import Calibrated  # it needs scipy, reading a calibration does not

FOLDER = "calibrations"
FORMAT = "tautlog calibration"
VERSION = 1
# What a calibration measures; the rest stays as campaign.toml says.
MEASURED = (
    "newton_per_volt",
    "newton_per_square_volt",
    "zero_v",
    "expanded_u_fraction",
    "expanded_u_n",
    "range_n",
    "date",
    "note",
)
LATER = ("expanded_u_n",)  # not in files of old


def add_calibration(campaign_folder: Path, made: Calibrated) -> Path:
    """Write a calibration to a new file of the campaign.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    folder = campaign_folder / FOLDER
    moment = datetime.now(UTC)
    text = json.dumps(_as_json(made, moment), indent=1, allow_nan=False) + "\n"
    try:
        folder.mkdir(exist_ok=True)
        number = 1 + max((_number(one) for one in folder.glob("*.json")), default=0)
        path = folder / f"{number:04d}_{moment:%Y-%m-%d}.json"
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as problem:
        raise CampaignError(f"{folder} cannot be written: {problem.strerror}") from problem
    return path


def newest_calibration(campaign_folder: Path, base: Calibration) -> Calibration:
    """The campaign's newest calibration put over what campaign.toml says.

    Raises
    ------
    CampaignError
        If the newest file cannot be read or is none.
    """
    paths = sorted((campaign_folder / FOLDER).glob("*.json"), key=_number)
    if not paths:
        return base
    path = paths[-1]
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        told = content["calibration"]
        kinds = {one.name: str(one.type) for one in fields(Calibration)}
        values = {
            name: str(told[name]) if kinds[name] == "str" else float(told[name])
            for name in MEASURED
            if name in told or name not in LATER
        }
        if content.get("format") != FORMAT or not values["newton_per_volt"]:
            raise ValueError("no calibration of this program")
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise CampaignError(
            f"{path} cannot be read as a calibration ({problem}): restore it, or take it away and "
            "calibrate again"
        ) from problem
    return replace(base, **values)  # type: ignore[arg-type]


def _number(path: Path) -> int:
    head = path.name.split("_")[0]
    return int(head) if head.isdigit() else 0


def _as_json(made: Calibrated, moment: datetime) -> dict[str, Any]:
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


def as_json(made: Calibrated) -> dict[str, Any]:
    """A calibration as ``tautlog calibrate --json`` prints it."""
    return _as_json(made, datetime.now(UTC))
