"""Drop: one record with its five lines, curve, figures and what people found and decided."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from pathlib import Path, PurePosixPath

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.archive.assessment import Assessment
from tautlog.archive.judging_again import (
    DECIDABLE,
    enter_decision,
    enter_inspection,
    enter_photos,
    says_too_little,
)
from tautlog.archive.photos import Thumbnail, thumbnail
from tautlog.archive.summary import summary_from
from tautlog.archive.verdict_lines import notes, quick_look
from tautlog.campaign.dimensions import inspected
from tautlog.desk.desk import Desk, OpenedDrop
from tautlog.desk.fields import with_unit
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, page
from tautlog.desk.scale import scale_of
from tautlog.display.report.drops import budget_table, figure_rows
from tautlog.errors import RecordError, TautlogError
from tautlog.files.new_file import new_file
from tautlog.model import quantities as q
from tautlog.model.dimensions import Measured, texts_of
from tautlog.model.inspection import ARTICLE_FINDINGS, WHOLE
from tautlog.model.shown import shown
from tautlog.planning.against_flight import against_flight
from tautlog.record import open_record

# The figures that a crew reads first, in the units and digits of a rig: key, name, unit, size of
# the unit, form. All figures are below them, as they are kept.
FIRST = (
    ("duration_s", "above 10 % of it", "ms", 1e-3, ".1f"),
    ("rise_time_s", "rise", "ms", 1e-3, ".1f"),
    ("load_rate_n_per_s", "load rate, 10 to 90 %", "kN/s", 1e3, ".1f"),
    ("impulse_ns", "impulse", "N s", 1.0, ".1f"),
    ("rest_force_n", "rest", "N", 1.0, ".0f"),
    ("max_stretch_m", "stretch", "mm", 1e-3, ".0f"),
    ("energy_absorbed_j", "energy taken up", "J", 1.0, ".0f"),
    ("line_stiffness_n_per_m", "stiffness", "N/mm", 1e3, ".2f"),
    ("impulse_closure", "impulse closure", "", 1.0, ".3f"),
)
SPREADS = {
    "max_stretch_m": "max_stretch_expanded_u_m",
    "energy_absorbed_j": "energy_absorbed_expanded_u_j",
}
FLIGHT = "flight"
DIMENSION = "dimension "  # before the name of one, in the form
PICTURES = ("drop", "contact", "stretch", "spectrum")
ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".mp4", ".mov", ".avi")


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page of one drop."""
    name = request.path_params["name"]
    desk = desk_of(request)
    try:
        opened = desk.opened(name)
    except TautlogError as problem:
        return page(
            request, "no_drop.html", task="drops", status=404, name=name, problem=str(problem)
        )
    record, drop = opened.record, opened.drop
    marks = drop.loaded
    spread = marks.peak_force_expanded_u_n or 0.0
    peak = abs(marks.peak_force_n) if marks.peak_force_n is not None else None
    band = (None, None) if peak is None else (peak - spread, peak + spread)
    return page(
        request,
        "drop.html",
        task="drops",
        status=400 if said else 200,
        said=said,
        name=name,
        record=record,
        drop=drop,
        lines=[line[2:] for line in quick_look(drop)],
        summary=summary_from(record),
        notes=notes(drop),
        scale=scale_of(marks.target_force_n, marks.limit_force_n, peak, band),
        first=_first(drop),
        figures=figure_rows(drop.marks, drop.units),
        budgets=[budget_table(one.shown_in(drop.units.of(one.unit))) for one in drop.marks.budgets],
        findings=ARTICLE_FINDINGS,
        decidable=DECIDABLE,
        photos=_photos(opened),
        beside=_not_entered(opened),
        pictures=PICTURES,
        dimensions=_dimensions(desk, opened),
        told_dimensions=texts_of,
        against=_against_flight(desk, opened),
        typed=dict(entered or {}),
        more=_too_little(opened),
    )


def _first(drop: Assessment) -> list[tuple[str, str]]:
    """Name and value of what a crew reads first; "-" for what is not known."""
    marks, peak = drop.marks, drop.shown(drop.marks)
    found = [("peak", peak.interval_text if peak else "-")]
    for key, name, unit, size, form in FIRST:
        value = getattr(marks, key)
        spread = getattr(marks, SPREADS[key]) if key in SPREADS else None
        if value is not None and spread is not None:
            told = shown(value / size, unit, units=drop.units, spread=spread / size)
            found.append((name, told.interval_text))
            continue
        scaled = None if value is None else value / size
        found.append((name, drop.units.told(scaled, unit, form).strip()))
    found += [
        (f"above {100 * one.share:.0f} % of target", f"{1e3 * one.duration_s:.1f} ms")
        for one in marks.above_levels
    ]
    return found


def _against_flight(desk: Desk, opened: OpenedDrop) -> tuple[str, ...]:
    """What is harder or softer than flight; empty where no flight is stated."""
    told = against_flight(opened.drop, desk.campaign_or_why()[0])
    return told.texts if told else ()


def _dimensions(desk: Desk, opened: OpenedDrop) -> list[tuple[str, str]]:
    """Field and label of each dimension of the article."""
    campaign, article = desk.campaign_or_why()[0], opened.record.setup.article
    own = [one for one in campaign.dimensions if one.article == article] if campaign else []
    return [(f"{DIMENSION}{one.name}", f"{one.name} now") for one in own]


def _photos(opened: OpenedDrop) -> list[Thumbnail]:
    folder = opened.record.path.parent
    return [thumbnail(photo, folder) for photo in opened.record.photos]


def _too_little(opened: OpenedDrop) -> str:
    """What the newest inspection leaves out."""
    if not opened.record.inspections:
        return ""
    newest = opened.record.inspections[-1]
    if not says_too_little(newest.finding, newest.where, newest.moved):
        return ""
    return (
        "Also say where it failed and what touched or moved first, while it can be seen: enter "
        "the inspection again, both are kept."
    )


def _not_entered(opened: OpenedDrop) -> list[str]:
    """Photos and films in the record's folder that no record of it names."""
    known = {photo.name for photo in opened.record.photos}
    folder = opened.record.path.parent
    drawn = {path.stem for path in folder.glob("*.h5")}  # pictures of records, made by tautlog
    return sorted(
        path.name
        for path in folder.iterdir()
        if path.suffix.lower() in ENDINGS
        and path.is_file()
        and not path.is_symlink()
        and path.name not in known
        and path.stem not in drawn
    )


def inspect(request: Request, entered: Entered) -> Response:
    """Enter an inspection."""

    def do(path: Path) -> None:
        typed = {
            name.removeprefix(DIMENSION): with_unit(text, "mm", entered.units)
            for name, text in entered.texts.items()
            if name.startswith(DIMENSION) and text
        }
        finding = entered.text("finding")
        measured: tuple[Measured, ...] = ()
        if typed or finding in WHOLE:
            campaign, article = desk_of(request).campaign(), open_record(path).setup.article
            criterion = campaign.requirement.dimensions
            measured = inspected(criterion, campaign.dimensions, article, typed, finding)
        judged = enter_inspection(
            path,
            by=entered.text("by"),
            finding=finding,
            note=entered.text("note"),
            where=entered.text("where"),
            moved=entered.text("moved"),
            measured=measured,
        )
        if judged.problem:
            raise RecordError(f"entered, but the marks are not kept: {judged.problem}")

    return entered_for(request, entered, do, "inspection")


def decide(request: Request, entered: Entered) -> Response:
    """Enter a decision."""

    def do(path: Path) -> None:
        enter_decision(
            path,
            by=entered.text("by"),
            verdict=entered.text("verdict"),
            reason=entered.text("reason"),
        )

    return entered_for(request, entered, do, "decision")


def photograph(request: Request, entered: Entered) -> Response:
    """Enter photos that lie in the folder, or that the browser sends."""

    def do(path: Path) -> None:
        offset_s, note = entered.number("offset_s", q.FILM), entered.text("note")
        files = [_kept(path.parent, file) for file in entered.files]
        beside = entered.text("beside")
        if beside:
            files.append(_beside(path, beside))
        if not files:
            raise RecordError("choose a photo or a film first")
        enter_photos(path, files, offset_s=offset_s, note=note)

    return entered_for(request, entered, do, "photos")


def entered_for(
    request: Request, entered: Entered, do: Callable[[Path], None], what: str
) -> Response:
    """Do something to the record that the address names, and say so or why not."""
    name = request.path_params["name"]
    try:
        do(desk_of(request).record_path(name))
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse(f"/drops/{name}?done={what}#entered", 303)


def _beside(record: Path, name: str) -> Path:
    """A file in a record's folder, by its name alone.

    Raises
    ------
    RecordError
        If there is no such photo or film.
    """
    for path in record.parent.iterdir():
        ordinary = path.is_file() and not path.is_symlink()
        if path.name == name and ordinary and path.suffix.lower() in ENDINGS:
            return path
    raise RecordError(f"there is no photo or film {name!r} in the campaign's folder")


def _kept(folder: Path, file: UploadFile) -> Path:
    """Copy a file that the browser sent into the record's folder, under its own name.

    Raises
    ------
    RecordError
        If its name is no name of a photo or film, or is taken.
    """
    name = PurePosixPath((file.filename or "").replace("\\", "/")).name
    path = folder / name
    odd = name.startswith(".") or not name.isprintable() or len(name.encode()) > 120
    if odd or path.suffix.lower() not in ENDINGS:
        raise RecordError(
            f"{name[:60]!r} is no photo or film: allowed are names that end in {', '.join(ENDINGS)}"
        )
    with new_file(path) as draft, draft.open("xb") as out:
        file.file.seek(0)
        shutil.copyfileobj(file.file, out)
    return path
