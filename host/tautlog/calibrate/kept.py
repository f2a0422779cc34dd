"""Kept calibrations: the files of a campaign's calibrations, the newest in force."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tautlog.errors import CampaignError
from tautlog.files.strict_json import read_object
from tautlog.model.calibration import MEASURED, Calibration
from tautlog.model.key import keys_of
from tautlog.model.timestamp import day_problem

FOLDER = "calibrations"
FORMAT = "tautlog calibration"
NAME = re.compile(r"([0-9]+)_[0-9]{4}-[0-9]{2}-[0-9]{2}\.json")  # number, day
HEAD_BYTES = 4096  # in which a file says that it is a calibration
KEYS = keys_of(Calibration)  # unit and range of what a file says was measured
LATER = ("accepted", "expanded_u_n")  # not in files of old


@dataclass(frozen=True)
class StandingFile:
    """One calibration file, and the name of the one that supersedes it, or ""."""

    path: Path
    superseded_by: str = ""
    told: str = ""


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
    paths.sort(key=lambda path: (roots[path.name], _order(path)))
    return [StandingFile(path, *superseded.get(path.name, ("", ""))) for path in paths]


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
    numbers = [_number(path) for path in there if NAME.fullmatch(path.name)]
    found = []
    for path in there:
        if not NAME.fullmatch(path.name):
            wrong = "its name does not tell its place in the order" if _may_be_one(path) else ""
        else:
            same = numbers.count(_number(path)) > 1
            wrong = "another has the same number, which of them is newer nobody knows" * same
        if wrong:
            found.append(
                f"{FOLDER}/{path.name} may be a calibration, and {wrong}: rename it to NUMBER_DAY."
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
        told = read_object(path.read_bytes()).get("supersedes")
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) else {}


def file_called(campaign_folder: Path, name: str) -> Path | None:
    """The calibration file of a campaign by its name, with or without ending, or number."""
    wanted = Path(name).name
    for file in standing_files(campaign_folder):
        if wanted in (file.path.name, file.path.stem, str(_number(file.path))):
            return file.path
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
    for file in reversed(
        [file for file in standing_files(campaign_folder) if not file.superseded_by]
    ):
        try:
            return replace(base, **measured_in(file.path)[0]), "; ".join(problems)
        except CampaignError as problem:
            problems.append(str(problem))
    return base, "; ".join(problems)


def newest_file(campaign_folder: Path) -> Path | None:
    """File of the campaign's newest calibration that counts, or None without any."""
    there = [file.path for file in standing_files(campaign_folder) if not file.superseded_by]
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
        content = read_object(text)
        told = content.get("calibration")
        if not isinstance(told, dict):
            raise ValueError("expected one JSON object with another, calibration, in it")
        lacking = [name for name in MEASURED if name not in LATER and name not in told]
        if lacking:
            raise ValueError(f"{', '.join(lacking)} lacks in its calibration")
        values: dict[str, Any] = {
            name: str(told[name]) if KEYS[name].kind is str else _number_in(told, name)
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
    mistake = KEYS[name].mistake(value)
    if mistake:
        raise ValueError(mistake)
    return float(value)


def _number(path: Path) -> int:
    head = path.name.split("_")[0]
    return int(head) if head.isdigit() else 0


def _order(path: Path) -> tuple[int, str]:
    """Place of a file: its number, and its name where two have the same."""
    return _number(path), path.name
