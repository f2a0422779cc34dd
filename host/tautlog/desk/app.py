"""App: the pages of a desk and their addresses."""

from __future__ import annotations

import importlib.resources

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from tautlog.desk import (
    again,
    calibration,
    checklist,
    curves,
    deviations,
    drop,
    dropping,
    drops,
    ledger,
    live_calibration,
    live_hanging,
    live_pull,
    plan,
    proof,
    report,
    rig,
    steps,
    today,
)
from tautlog.desk.desk import Desk
from tautlog.desk.forms import entering
from tautlog.desk.page import desk_of
from tautlog.errors import TautlogError

# Files of the pages: name, package, kind. Nothing else is served from a disk by its name.
ASSETS = {
    "desk.css": ("tautlog.desk", "assets", "text/css"),
    "plan.js": ("tautlog.desk", "assets", "text/javascript"),
    "curves.js": ("tautlog.desk", "assets", "text/javascript"),
    "live.js": ("tautlog.desk", "assets", "text/javascript"),
    "drop.js": ("tautlog.desk", "assets", "text/javascript"),
    "rig.js": ("tautlog.desk", "assets", "text/javascript"),
    "feed.js": ("tautlog.desk", "assets", "text/javascript"),
    "uPlot.iife.min.js": ("tautlog.display", "pages", "text/javascript"),
    "uPlot.min.css": ("tautlog.display", "pages", "text/css"),
}


def pages_of(desk: Desk) -> Starlette:
    """The pages of a desk, without the guard in front of them."""
    app = Starlette(
        routes=[
            *_at_the_board(),
            Route("/", today.show),
            Route("/steps", steps.show),
            Route("/plan", plan.show),
            Route("/plan/reckoned", plan.reckon),
            Route("/plan/climb", plan.climb),
            Route("/calibrate", calibration.show),
            Route("/calibrate", entering(calibration.enter), methods=["POST"]),
            Route("/checklist", checklist.show),
            Route("/checklist", entering(checklist.enter), methods=["POST"]),
            Route("/drops", drops.show),
            Route("/compare", drops.compare),
            Route("/curves", curves.curves),
            Route("/readings", curves.readings),
            Route("/drops/{name}", drop.show),
            Route("/drops/{name}/picture.svg", curves.picture),
            Route("/drops/{name}/inspection", entering(drop.inspect), methods=["POST"]),
            Route("/drops/{name}/decision", entering(drop.decide), methods=["POST"]),
            Route("/drops/{name}/marks", entering(again.mark), methods=["POST"]),
            Route("/drops/{name}/export", entering(again.export), methods=["POST"]),
            Route("/drops/{name}/photos", entering(drop.photograph), methods=["POST"]),
            Route("/ledger", ledger.show),
            Route("/ledger", entering(ledger.enter), methods=["POST"]),
            Route("/deviations", deviations.show),
            Route("/deviations", entering(deviations.enter), methods=["POST"]),
            Route("/report", report.show),
            Route("/report", entering(report.enter), methods=["POST"]),
            Route("/report/{name}", report.file),
            Route("/rig", rig.show),
            Route("/rig", entering(rig.enter), methods=["POST"]),
            Route("/rig/now", rig.now),
            Route("/events", events),
            Route("/assets/{name}", asset),
        ],
        exception_handlers={HTTPException: _refused, TautlogError: _failed, Exception: _fell},
    )
    app.state.desk = desk
    return app


def _at_the_board() -> list[Route]:
    """What is done with the board: weights, pulls, the drop."""
    return [
        Route("/calibrate/live", live_calibration.show),
        Route("/calibrate/live/piece", live_calibration.points),
        Route("/calibrate/live", entering(live_calibration.enter), methods=["POST"]),
        Route("/calibrate/hanging", live_hanging.show),
        Route("/calibrate/hanging/piece", live_hanging.readings),
        Route("/calibrate/hanging", entering(live_hanging.enter), methods=["POST"]),
        Route("/proof", proof.show),
        Route("/proof", entering(proof.enter), methods=["POST"]),
        Route("/proof/live", live_pull.show),
        Route("/proof/live/piece", live_pull.readings),
        Route("/proof/live", entering(live_pull.enter), methods=["POST"]),
        Route("/drop", dropping.show),
        Route("/drop", entering(dropping.begin), methods=["POST"]),
        Route("/drop/stands", dropping.stands),
        Route("/drop/trace", dropping.trace),
        Route("/drop/word", entering(dropping.say, alone=False), methods=["POST"]),
        Route("/drop/looked", entering(dropping.looked), methods=["POST"]),
        Route("/drop/call-off", entering(dropping.call_off, alone=False), methods=["POST"]),
    ]


async def events(request: Request) -> Response:
    """What happens, as it happens."""
    return StreamingResponse(desk_of(request).feed.listen(), media_type="text/event-stream")


def asset(request: Request) -> Response:
    """A file of the pages."""
    name = request.path_params["name"]
    if name not in ASSETS:
        return PlainTextResponse("there is no such file", 404)
    package, folder, kind = ASSETS[name]
    content = (importlib.resources.files(package) / folder / name).read_bytes()
    return Response(content, media_type=kind)


def _refused(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)
    return PlainTextResponse(problem.detail, problem.status_code)


def _failed(request: Request, problem: Exception) -> Response:
    return PlainTextResponse(f"This could not be done: {problem}", 500)


def _fell(request: Request, problem: Exception) -> Response:
    """A mistake of the program, in one line; no traceback reaches a page."""
    return PlainTextResponse(
        f"The desk made a mistake ({type(problem).__name__}). What was stored is stored. The "
        "commands of tautlog do the same work.",
        500,
    )
