"""Report: written into the campaign's folder, and shown."""

from __future__ import annotations

import re
from pathlib import Path

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.archive.assess import AS_BEFORE
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, page
from tautlog.display.report.page import write_html
from tautlog.display.report.paper import write_pdf
from tautlog.display.report.places import contents_at, opened_at
from tautlog.errors import RecordError, TautlogError
from tautlog.files.ordinary import read_ordinary

STEM = re.compile(r"report(_\d{1,4})?\.(html|pdf)")
KINDS = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}
MOST_BYTES = 200_000_000
# A report draws its own curves by its own script. It is no page of the desk: it is shut in an
# origin of its own, from which it reaches neither the desk nor anything else.
SHUT_IN = (
    "sandbox allow-scripts allow-popups allow-downloads; default-src 'none'; "
    "style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'"
)


def show(request: Request, said: str = "") -> Response:
    """The page: write one, and those that are there."""
    there = _there(desk_of(request).folder)
    chosen = request.query_params.get("show", "")
    html = [path.name for path in there if path.suffix == ".html"]
    return page(
        request,
        "report.html",
        task="report",
        status=400 if said else 200,
        said=said,
        files=[(path.name, f"{path.stat().st_size / 1e6:.1f} MB") for path in there],
        shown=chosen if chosen in html else "",
    )


def _there(folder: Path) -> list[Path]:
    """Reports in the campaign's folder, newest first."""
    found = [path for path in folder.iterdir() if STEM.fullmatch(path.name)]
    found = [path for path in found if path.is_file() and not path.is_symlink()]
    return sorted(found, key=lambda path: path.stat().st_mtime, reverse=True)


def file(request: Request) -> Response:
    """One report as it was written."""
    name = request.path_params["name"]
    path = next((one for one in _there(desk_of(request).folder) if one.name == name), None)
    if path is None:
        return Response("there is no such report", 404, media_type="text/plain")
    kind = KINDS[path.suffix[1:]]
    headers = {"Content-Security-Policy": SHUT_IN, "X-Frame-Options": "SAMEORIGIN"}
    if path.suffix == ".pdf":
        headers["Content-Disposition"] = f'attachment; filename="{path.name}"'
    try:
        return Response(read_ordinary(path, MOST_BYTES), media_type=kind, headers=headers)
    except OSError as problem:
        return Response(f"it cannot be read: {problem.strerror}", 404, media_type="text/plain")


def enter(request: Request, entered: Entered) -> Response:
    """Write a report under a name that is free; nothing is overwritten."""
    desk = desk_of(request)
    try:
        campaign = desk.campaign()
        rehearsed = entered.text("rehearsed") == "yes" or campaign.rehearsed
        opened = opened_at([desk.folder], rehearsed=rehearsed)
        contents = contents_at(opened, campaign, desk.folder, AS_BEFORE, desk.units)
        stem = _free(desk.folder)
        write_html(desk.folder / f"{stem}.html", contents)
        if entered.text("pdf") == "yes":
            write_pdf(desk.folder / f"{stem}.pdf", contents)
    except TautlogError as problem:
        return show(request, str(problem))
    return RedirectResponse(f"/report?done=report&show={stem}.html", 303)


def _free(folder: Path) -> str:
    """The first name of a report that neither page nor paper has.

    Raises
    ------
    RecordError
        If there are too many.
    """
    for stem in ["report", *(f"report_{number}" for number in range(2, 10_000))]:
        if not any((folder / f"{stem}.{kind}").exists() for kind in KINDS):
            return stem
    raise RecordError(f"{folder} holds too many reports: move some away")
