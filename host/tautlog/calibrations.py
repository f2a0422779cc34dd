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
import re
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautlog.calibration import Calibration
from tautlog.errors import CalibrationError, CampaignError
from tautlog.keys import KEY_OF
from tautlog.moment import day_problem, stamp
from tautlog.plausibility import (
    point_doubts,
    sign_doubts,
    slope_doubts,
    uncertainty_doubts,
    unchecked_scale,
)
from tautlog.safe_json import read_json
from tautlog.signature import signed

if TYPE_CHECKING:
    from tautlog.calibrating import Calibrated  # it needs scipy, reading a calibration does not
    from tautlog.campaign import Campaign

FOLDER = "calibrations"
FORMAT = "tautlog calibration"
NAME = re.compile(r"([0-9]+)_[0-9]{4}-[0-9]{2}-[0-9]{2}\.json")  # number, day
HEAD_BYTES = 4096  # in which a file says that it is a calibration
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
    "accepted",
)
LATER = ("accepted", "expanded_u_n")  # not in files of old


@dataclass(frozen=True)
class Word:
    """Somebody's word for something: a name and a reason, neither empty."""

    by: str
    reason: str

    def __post_init__(self) -> None:
        if not signed(self.by) or not signed(self.reason):
            raise CampaignError("a name and a reason are needed, and neither is empty")


@dataclass(frozen=True)
class StandingFile:
    """One calibration file, and the name of the one that supersedes it, or ""."""

    path: Path
    superseded_by: str = ""
    told: str = ""


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
    folder = campaign.folder / FOLDER
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
    text = json.dumps(content, indent=1, allow_nan=False) + "\n"
    try:
        folder.mkdir(exist_ok=True)
        number = 1 + max((_number(one) for one in folder.glob("*.json")), default=0)
        path = folder / f"{number:04d}_{moment:%Y-%m-%d}.json"
        with path.open("x", encoding="utf-8") as opened:
            opened.write(text)
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


def standing_files(campaign_folder: Path) -> list[StandingFile]:
    """Calibration files in the order in which they count, superseded ones too."""
    there = (campaign_folder / FOLDER).glob("*.json")
    paths = sorted((one for one in there if NAME.fullmatch(one.name)), key=_order)
    superseded: dict[str, tuple[str, str]] = {}
    roots: dict[str, int] = {}
    for number, path in enumerate(paths):
        roots[path.name] = number
        correction = _correction_in(path)
        wrong = correction.get("file")
        if wrong in roots:
            roots[path.name] = roots[wrong]
            superseded[wrong] = (path.name, f"{correction.get('by')}: {correction.get('reason')}")
    paths.sort(key=lambda one: (roots[one.name], _order(one)))
    return [StandingFile(one, *superseded.get(one.name, ("", ""))) for one in paths]


def unread_files(campaign_folder: Path) -> tuple[str, ...]:
    """Each file that may be a calibration and is not read, why, and how to mend it.

    Those that end in .json in any spelling, or say that they are one; names that begin with
    a dot are other programs' own.
    """
    folder = campaign_folder / FOLDER
    try:
        there = sorted(folder.iterdir()) if folder.is_dir() else []
    except OSError as problem:
        return (f"{folder} cannot be read: {problem.strerror}",)
    numbers = [_number(one) for one in there if NAME.fullmatch(one.name)]
    found = []
    for one in there:
        if not NAME.fullmatch(one.name):
            wrong = "its name does not tell its place in the order" if _may_be_one(one) else ""
        else:
            same = numbers.count(_number(one)) > 1
            wrong = "another has the same number, which of them is newer nobody knows" * same
        if wrong:
            found.append(
                f"{FOLDER}/{one.name} may be a calibration, and {wrong}: rename it to NUMBER_DAY."
                f"json, such as {1 + max(numbers, default=0):04d}_2026-03-01.json, the newest with "
                "the highest number; or take it out of the folder"
            )
    return tuple(found)


def _may_be_one(path: Path) -> bool:
    if path.name.startswith(".") or not path.is_file():
        return False
    if ".json" in path.name.casefold():
        return True
    try:
        with path.open("rb") as file:
            return FORMAT.encode() in file.read(HEAD_BYTES)
    except OSError:
        return True  # nobody knows


def _correction_in(path: Path) -> dict[str, Any]:
    """What a file supersedes; nothing where it cannot be read."""
    try:
        told = read_json(path.read_bytes()).get("supersedes")
    except (OSError, ValueError, AttributeError):
        return {}
    return told if isinstance(told, dict) else {}


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


def file_called(campaign_folder: Path, name: str) -> Path | None:
    """The calibration file of a campaign by its name, with or without ending, or number."""
    wanted = Path(name).name
    for one in standing_files(campaign_folder):
        if wanted in (one.path.name, one.path.stem, str(_number(one.path))):
            return one.path
    return None


def newest_calibration(campaign_folder: Path, base: Calibration) -> Calibration:
    """The campaign's newest calibration put over what campaign.toml says.

    Raises
    ------
    CampaignError
        If the newest file cannot be read or is none.
    """
    path = newest_file(campaign_folder)
    return base if path is None else replace(base, **measured_in(path)[0])


def newest_readable(campaign_folder: Path, base: Calibration) -> tuple[Calibration, str]:
    """The newest calibration that can be read, and what is wrong with those newer than it.

    For what looks back: nothing is dropped under it. See `newest_calibration` for what is.
    """
    problems: list[str] = []
    for one in reversed([one for one in standing_files(campaign_folder) if not one.superseded_by]):
        try:
            return replace(base, **measured_in(one.path)[0]), "; ".join(problems)
        except CampaignError as problem:
            problems.append(str(problem))
    return base, "; ".join(problems)


def newest_file(campaign_folder: Path) -> Path | None:
    """File of the campaign's newest calibration that counts, or None without any."""
    there = [one.path for one in standing_files(campaign_folder) if not one.superseded_by]
    return there[-1] if there else None


def measured_in(path: Path) -> tuple[dict[str, Any], bytes]:
    """What a calibration's file says was measured, and the file's bytes.

    Raises
    ------
    CampaignError
        If it cannot be read or is none.
    """
    try:
        text = path.read_bytes()
        content = read_json(text)
        told = content.get("calibration") if isinstance(content, dict) else None
        if not isinstance(told, dict):
            raise ValueError("expected one JSON object with another, calibration, in it")
        lacking = [name for name in MEASURED if name not in LATER and name not in told]
        if lacking:
            raise ValueError(f"{', '.join(lacking)} lacks in its calibration")
        kinds = {one.name: str(one.type) for one in fields(Calibration)}
        values: dict[str, Any] = {
            name: str(told[name]) if kinds[name] == "str" else _number_in(told, name)
            for name in MEASURED
            if name not in LATER or name in told
        }
        values.setdefault("accepted", "")
        if content.get("format") != FORMAT or not values["newton_per_volt"]:
            raise ValueError("no calibration of this program")
        if values["date"] and (wrong := day_problem(values["date"])):
            # No age can be told of it: it counts as expired, see `Calibration.expired_on`.
            values["date"] = f"{values['date']} ({wrong})"
    except (OSError, ValueError) as problem:
        raise CampaignError(
            f"{path} cannot be read as a calibration ({problem}): restore it, or take it away and "
            "calibrate again"
        ) from problem
    return values, text


def _number_in(told: dict[str, Any], name: str) -> float | None:
    """A figure of a file; one that makes no sense is none."""
    value = told[name]
    if name == "zero_v" and (value is None or not (value or told["newton_per_square_volt"])):
        return None  # files of old say 0 where a straight line's zero was not kept
    problem = KEY_OF["calibration", name].problem(value)
    if problem:
        raise ValueError(problem.partition("] ")[2])
    return float(value)


def _number(path: Path) -> int:
    head = path.name.split("_")[0]
    return int(head) if head.isdigit() else 0


def _order(path: Path) -> tuple[int, str]:
    """Place of a file: its number, and its name where two have the same."""
    return _number(path), path.name


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
