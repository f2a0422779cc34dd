"""Kept calibrations: a campaign's calibration files; the newest is in force."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tautlog.errors import CampaignError
from tautlog.files.numbered import files_in_order, number_of, order_of, unread_in
from tautlog.files.ordinary import read_ordinary
from tautlog.files.strict_json import read_object
from tautlog.model.calibration import MEASURED, Calibration
from tautlog.model.key import keys_of
from tautlog.model.steps import steps_of
from tautlog.model.timestamp import day_problem

FOLDER = "calibrations"
FORMAT = "tautlog calibration"
OWN_POINTS = 1e-3  # of the factor: a fit agrees with its own points to rounding
KEYS = keys_of(Calibration)  # units and ranges of the values in a file
LATER = ("accepted", "expanded_u_n", "converter")  # not in old files


@dataclass(frozen=True)
class StandingFile:
    """A calibration file; the name of the file that supersedes it, with who and why, or "".

    `channel` is the force channel that it is for; "" for the first.
    """

    path: Path
    superseded_by: str = ""
    reason: str = ""
    channel: str = ""


def standing_files(campaign_folder: Path) -> list[StandingFile]:
    """Calibration files in the order in which they count, superseded files too."""
    paths = files_in_order(campaign_folder / FOLDER)
    superseded: dict[str, tuple[str, str]] = {}
    roots: dict[str, int] = {}
    channels: dict[str, str] = {}
    for number, path in enumerate(paths):
        roots[path.name] = number
        correction, channels[path.name] = _about(path)
        wrong = correction.get("file")
        if wrong in roots:
            roots[path.name] = roots[wrong]
            superseded[wrong] = (path.name, f"{correction.get('by')}: {correction.get('reason')}")
    paths.sort(key=lambda path: (roots[path.name], order_of(path)))
    return [
        StandingFile(path, *superseded.get(path.name, ("", "")), channel=channels[path.name])
        for path in paths
    ]


def unread_files(campaign_folder: Path) -> tuple[str, ...]:
    """Each file that may be a calibration but is not read; see `numbered.unread_in`."""
    return unread_in(campaign_folder / FOLDER, FORMAT, "a calibration")


def rehearsed_files(campaign_folder: Path) -> tuple[str, ...]:
    """Each calibration in force, of any channel, that says it was made to practise with."""
    newest = {
        file.channel: file.path
        for file in standing_files(campaign_folder)
        if not file.superseded_by
    }
    return tuple(
        f"{path.name} was made to practise with, on a rehearsed rig: calibrate with the real chain"
        for path in newest.values()
        if _content(path).get("rehearsed")
    )


def _about(path: Path) -> tuple[dict[str, Any], str]:
    """What a file supersedes, and its channel; nothing if it cannot be read."""
    content = _content(path)
    correction, channel = content.get("supersedes"), content.get("channel")
    return (
        correction if isinstance(correction, dict) else {},
        channel if isinstance(channel, str) else "",
    )


def _content(path: Path) -> dict[str, Any]:
    """What a file holds; nothing if it cannot be read."""
    try:
        return read_object(read_ordinary(path))
    except (OSError, ValueError):
        return {}


def file_called(campaign_folder: Path, name: str) -> Path | None:
    """A campaign's calibration file by its name (with or without ending) or number, or None."""
    wanted = Path(name).name
    for file in standing_files(campaign_folder):
        if wanted in (file.path.name, file.path.stem, str(number_of(file.path))):
            return file.path
    return None


def newest_calibration(campaign_folder: Path, base: Calibration, channel: str = "") -> Calibration:
    """The campaign's newest calibration of a channel; campaign.toml states the rest.

    Parameters
    ----------
    campaign_folder : Path
        The campaign's folder.
    base : Calibration
        What campaign.toml states.
    channel : str
        Name of the force channel; "" for the first.

    Raises
    ------
    CampaignError
        If the newest file cannot be read as a calibration.
    """
    path = newest_file(campaign_folder, channel)
    return base if path is None else _over(base, path)


def newest_readable(campaign_folder: Path, base: Calibration) -> tuple[Calibration, str]:
    """The newest readable calibration, and what is wrong with newer files.

    For looking back only: nothing may be dropped with it. See `newest_calibration` for drops.
    """
    problems: list[str] = []
    for file in reversed(_counting(campaign_folder, "")):
        try:
            return _over(base, file.path), "; ".join(problems)
        except CampaignError as problem:
            problems.append(str(problem))
    return base, "; ".join(problems)


def _over(base: Calibration, path: Path) -> Calibration:
    """A file's measured values over the stated ones; what was corrected by is the file's own.

    Raises
    ------
    CampaignError
        If it cannot be read, or was made with another converter than is stated.
    """
    made = replace(base, **measured_in(path)[0])
    try:
        steps_of(made.converter, made.converter_bits)  # refuses what is no table
    except ValueError as problem:
        raise CampaignError(
            f"{path} does not fit campaign.toml: {problem}; correct converter_bits under "
            "[calibration], or calibrate again"
        ) from problem
    return made


def newest_file(campaign_folder: Path, channel: str = "") -> Path | None:
    """File of a channel's newest calibration that counts, or None; "" is the first channel."""
    there = _counting(campaign_folder, channel)
    return there[-1].path if there else None


def channel_in(path: Path) -> str:
    """Force channel that a calibration file is for; "" for the first."""
    return _about(path)[1]


def _counting(campaign_folder: Path, channel: str) -> list[StandingFile]:
    """Files of a channel that are not superseded, oldest first."""
    there = standing_files(campaign_folder)
    return [file for file in there if not file.superseded_by and file.channel == channel]


def measured_in(path: Path) -> tuple[dict[str, Any], bytes]:
    """The measured values in a calibration file, and the file's bytes.

    Raises
    ------
    CampaignError
        If it cannot be read as a calibration.
    """
    try:
        text = read_ordinary(path)
        content = read_object(text)
        stored = content.get("calibration")
        if not isinstance(stored, dict):
            raise ValueError("expected a JSON object that holds an object `calibration`")
        missing = [name for name in MEASURED if name not in LATER and name not in stored]
        if missing:
            raise ValueError(f"its calibration does not state {', '.join(missing)}")
        values: dict[str, Any] = {
            name: str(stored[name]) if KEYS[name].kind is str else _number_in(stored, name)
            for name in MEASURED
            if name not in LATER or name in stored
        }
        values.setdefault("accepted", "")
        values.setdefault("converter", "")
        if content.get("format") != FORMAT or not values["newton_per_volt"]:
            raise ValueError("not a calibration of this program")
        own = replace(Calibration(), **values, **_converter_in(stored))
        _require_own_points(content.get("points"), own)
        if values["date"] and (wrong := day_problem(values["date"])):
            # Its age is not known: it counts as expired, see `Calibration.expired_on`.
            values["date"] = f"{values['date']} ({wrong})"
    except (OSError, ValueError) as problem:
        raise CampaignError(
            f"{path} cannot be read as a calibration ({problem}): restore it, or remove it and "
            "calibrate again"
        ) from problem
    return values, text


def _converter_in(stored: dict[str, Any]) -> dict[str, Any]:
    """What a file says of the converter besides its steps; the defaults if it is an old file."""
    found: dict[str, Any] = {}
    for name, kind in (("reference_v", float), ("converter_bits", int)):
        if name in stored:
            if mistake := KEYS[name].mistake(stored[name]):
                raise ValueError(mistake)
            found[name] = kind(stored[name])
    return found


def _require_own_points(points: object, own: Calibration) -> None:
    """Refuse a factor that does not follow from the points in the same file.

    Of a least-squares fit the regression of the loads on the fitted forces has slope 1,
    whatever the degree and however the points scatter.
    """
    try:
        assert isinstance(points, list)
        loads = [float(point["load_n"]) for point in points]
        read_v = [float(point["volt"]) for point in points]
        by_meter = [point.get("by_meter") is True for point in points]
    except (AssertionError, AttributeError, KeyError, TypeError, ValueError):
        raise ValueError("it holds no points that its factor could follow from") from None
    a, b = own.newton_per_volt, own.newton_per_square_volt
    above = [volt - (own.zero_v or 0.0) for volt in own.true_v(read_v, by_meter).tolist()]
    forces = [a * volt + b * volt * volt for volt in above]
    mean_n = math.fsum(forces) / max(len(forces), 1)
    spread = math.fsum((force - mean_n) ** 2 for force in forces)
    shared = math.fsum(load * (force - mean_n) for load, force in zip(loads, forces, strict=True))
    if not spread > 0.0 or not abs(shared / spread - 1.0) <= OWN_POINTS:
        raise ValueError(f"its factor of {a:.6g} N/V does not follow from its own points")


def _number_in(stored: dict[str, Any], name: str) -> float | None:
    """A number in a file; refuse a number out of range."""
    value = stored[name]
    if name == "zero_v" and (value is None or not (value or stored["newton_per_square_volt"])):
        return None  # old files say 0 if a straight line's zero was not kept
    mistake = KEYS[name].mistake(value)
    if mistake:
        raise ValueError(mistake)
    return float(value)
