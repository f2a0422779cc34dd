"""Calibration: what is in force, how well its points fit, and new points by hand."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.calibrate.calibrating import Calibrated, Point
from tautlog.calibrate.kept import StandingFile, newest_file, standing_files
from tautlog.calibrate.points_kept import points_kept
from tautlog.calibrate.points_table import points_in
from tautlog.calibrate.validity import validity
from tautlog.campaign.calibrations import Word, add_calibration, doubts_of, file_channel
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.converter_known import converter_for
from tautlog.campaign.new_calibration import (
    new_calibration,
    residual_rows,
    residuals_head,
    told,
)
from tautlog.desk.fields import number_in
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, page
from tautlog.display.pictures.image import svg_of
from tautlog.display.pictures.residuals import draw_residuals
from tautlog.errors import CalibrationError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import PathCheck
from tautlog.model.timestamp import day_problem, today
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

ROWS, MOST_ROWS = 9, 60
LOADS = {"mass_kg": ("{} hung", q.WEIGHT), "load_n": ("{} pulled", q.LOAD)}
READINGS = {
    "volt": "V, as the board reads",
    "meter_v": "V, by another meter",
    "counts": "counts of the board",
}


@dataclass(frozen=True)
class Fitted:
    """A calibration to look at.

    Attributes
    ----------
    told : list of str
        Its figures in words.
    rows : list
        Points with residuals, under `residuals_head`.
    picture : str
        The residuals as SVG, in base64.
    warnings, doubts : tuple of str
        What its user must know; why it is implausible.
    converter : str
        What its converter's steps are corrected by.
    """

    told: list[str]
    rows: list[tuple[str, str, str, str, str]]
    picture: str
    warnings: tuple[str, ...]
    doubts: tuple[str, ...]
    converter: str


def show(
    request: Request,
    said: str = "",
    entered: Mapping[str, str] | None = None,
    looked: Fitted | None = None,
) -> Response:
    """The page: in force, on record, new points."""
    campaign, _ = desk_of(request).campaign_or_why()
    units = campaign.units if campaign else SI
    channel = (entered or request.query_params).get("channel", "")
    of, wrong = _for_channel(campaign, channel)
    in_force, why = (None, "") if of is None else _in_force(of)
    return page(
        request,
        "calibrate.html",
        task="calibrate",
        said=said,
        status=400 if said else 200,
        of=of,
        problem=wrong,
        checks=_checks(of),
        in_force=in_force,
        no_points=why,
        files=files_of(campaign),
        channels=channels_of(campaign),
        channel=channel,
        head=residuals_head(units),
        looked=looked,
        typed=dict(entered or {}),
        rows=_rows_shown(request, entered),
        loads={key: name.format(units.of(kind.unit).name) for key, (name, kind) in LOADS.items()},
        readings=READINGS,
        day=today(),
        gravity=f"{STANDARD_GRAVITY_M_PER_S2:g}",
    )


def _for_channel(campaign: Campaign | None, channel: str) -> tuple[Campaign | None, str]:
    if campaign is None:
        return None, ""
    try:
        return campaign.for_channel(channel), ""
    except TautlogError as problem:
        return campaign, str(problem)


def _checks(campaign: Campaign | None) -> list[PathCheck]:
    """Whether the calibration in force counts today."""
    if campaign is None:
        return []
    doubts = [PathCheck("doubt", False, text, refuses=True) for text in campaign.calibration_doubts]
    return doubts + list(validity(campaign.calibration, today()))


def _in_force(campaign: Campaign) -> tuple[Fitted | None, str]:
    """The newest kept calibration, fitted again from its points; or why it has none."""
    path = newest_file(campaign.folder, file_channel(campaign))
    if path is None:
        return None, "no points: campaign.toml states the calibration" * bool(
            campaign.calibration_stated
        )
    try:
        points, degree = points_kept(path)
        made = new_calibration(campaign, points, campaign.calibration, degree=degree)
    except TautlogError as problem:
        return None, str(problem)
    return replace(fitted(made, (), campaign.units), warnings=()), ""


def files_of(campaign: Campaign | None) -> list[StandingFile]:
    """Calibrations on record, newest first."""
    return [] if campaign is None else standing_files(campaign.folder)[::-1]


def channels_of(campaign: Campaign | None) -> list[str]:
    """Names of the force channels, if there are several."""
    if campaign is None or not campaign.force_channels:
        return []
    return [campaign.cell.channel, *(one.name for one in campaign.force_channels)]


def _rows_shown(request: Request, entered: Mapping[str, str] | None) -> int:
    typed = [int(key[4:]) for key in entered or {} if key.startswith("load") and key[4:].isdigit()]
    asked = request.query_params.get("rows", "")
    least = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 4 else ROWS
    return min(max([least, *(number + 1 for number in typed)]), MOST_ROWS)


def enter(request: Request, entered: Entered) -> Response:
    """Look at new points, or keep them."""
    try:
        campaign = desk_of(request).campaign().for_channel(entered.text("channel"))
        made = _made(campaign, entered)
        if entered.text("do") != "keep":
            looked = fitted(made, doubts_of(campaign, made), campaign.units)
            return show(request, entered=entered.texts, looked=looked)
        keep(campaign, made, entered)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse("/calibrate?done=calibration", 303)


def _made(campaign: Campaign, entered: Entered) -> Calibrated:
    """The calibration from what was typed; nothing is kept."""
    base = campaign.calibration
    gravity = gravity_in(entered)
    points = points_in(
        _table(entered),
        "the table",
        volt_per_count=base.volt_per_count(1),
        gravity_m_s2=gravity,
    )
    base = replace(base, converter=converter_for(campaign, base))
    return wanted(campaign, points, base, entered, entered.text("note"))


def gravity_in(entered: Entered) -> float:
    """Local gravity, as typed."""
    return entered.number("gravity", q.GRAVITY) or STANDARD_GRAVITY_M_PER_S2


def wanted(
    campaign: Campaign, points: Sequence[Point], base: Calibration, entered: Entered, note: str
) -> Calibrated:
    """The calibration of points, with the day and the curve that were typed.

    Raises
    ------
    CalibrationError
        If they give none, or the day is none.
    """
    day = entered.text("day") or today()
    wrong = day_problem(day)
    if wrong:
        raise CalibrationError(f"day {day!r}: {wrong}")
    degree = {"1": 1, "2": 2}.get(entered.text("degree"))
    return new_calibration(campaign, points, base, degree=degree, day=day, note=note)


def _table(entered: Entered) -> str:
    """The rows that were typed, as the text of a table; empty rows are left out."""
    load, reading = entered.text("load_is"), entered.text("reading_is")
    if load not in LOADS or reading not in READINGS:
        raise CalibrationError("say what the columns are: loads, and readings")
    lines = [f"{load};{reading};run"]
    for row in range(MOST_ROWS):
        cells = [entered.text(f"{name}{row}") for name in ("load", "read", "run")]
        if not cells[0] and not cells[1]:
            continue
        if any(sign in cell for cell in cells for sign in ';"\n\r'):
            raise CalibrationError(f"row {row + 1}: expected numbers")
        hung = number_in(f"load of point {row + 1}", cells[0], LOADS[load][1], entered.units)
        cells[0] = "" if hung is None else repr(hung)
        lines.append(f"{cells[0]};{cells[1]};{cells[2] or '1'}")
    return "\n".join(lines)


def keep(campaign: Campaign, made: Calibrated, entered: Entered) -> Path:
    """Keep it; a name and a reason accept what is implausible or correct an earlier file.

    Raises
    ------
    CalibrationError, CampaignError
        See `add_calibration`.
    """
    by, why, wrong = entered.text("by"), entered.text("reason"), entered.text("supersedes")
    accepts = entered.text("accept") == "yes"
    word = Word(by, why) if accepts or wrong else None
    return add_calibration(
        campaign,
        made,
        accepted=word if accepts else None,
        supersedes=wrong,
        word=word if wrong else None,
    )


def fitted(made: Calibrated, doubts: tuple[str, ...], units: Units) -> Fitted:
    """A calibration to look at."""
    loads = np.array([point.load_n for point in made.points])
    share = 100.0 * made.fit.residuals / loads.max()
    title = "residuals in the order of loading"
    svg = svg_of(draw_residuals(loads, share, title), "Residuals against load, % of range")
    return Fitted(
        told(made, units),
        residual_rows(made, units),
        base64.b64encode(svg.encode()).decode(),
        made.said,
        doubts,
        made.calibration.steps.basis,
    )
