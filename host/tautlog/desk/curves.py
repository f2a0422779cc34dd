"""Curves: the curves of drops for a page's script, and the readings of its cursors.

The script draws what it is given and computes nothing: it asks again for each stretch that is
zoomed to, and gets its samples at full resolution once they are few enough.
"""

from __future__ import annotations

import math
import threading
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tautlog.analysis.thinning import thinned
from tautlog.desk.desk import Desk
from tautlog.desk.drop import FLIGHT, PICTURES
from tautlog.desk.drops import MOST_LAID_OVER
from tautlog.desk.page import desk_of
from tautlog.display.cursors import Cursor, difference, moved, pointed_at, reading
from tautlog.display.pictures.flight import draw_flight
from tautlog.display.pictures.image import svg_of
from tautlog.display.pictures.panels import draw_view
from tautlog.display.views import Curve, NamedDrop, Panel, view
from tautlog.errors import RecordError, TautlogError
from tautlog.model.origin import MARK
from tautlog.planning.against_flight import against_flight_at

POINTS = 1600  # of each curve: more than a screen has columns
PAGES = ("contact", "drop")
# Pictures of svg have styles of their own; they are shown as images, which run nothing.
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_drawing = threading.Lock()  # the drawing library is not made for several threads


def curves(request: Request) -> Response:
    """The curves of one or more drops between two places on the axis."""
    try:
        panel = _panel(request)
        low, high = _seen(request)
        found = [_points(curve, low, high) for curve in panel.curves]
        for number, curve in enumerate(found):
            curve["tag"] = _tag(curve, number)
    except TautlogError as problem:
        return JSONResponse({"problem": str(problem)}, 404)
    return JSONResponse(
        {
            "x": {"label": panel.x[0], "unit": panel.x[1]},
            "y": {"label": panel.y[0], "unit": panel.y[1]},
            "curves": found,
            "levels": [{"name": name, "at": level} for name, level in panel.levels],
            "times": [{"name": name, "at": time_s} for name, time_s in panel.times],
        }
    )


def readings(request: Request) -> Response:
    """What the cursors read: each sits on a sample, and may have moved by some samples."""
    try:
        panel = _panel(request)
        low, high = _seen(request)
        cursors = {name: _cursor(request, panel, name, high - low) for name in ("a", "b")}
    except TautlogError as problem:
        return JSONResponse({"problem": str(problem)}, 404)
    a, b = cursors["a"], cursors["b"]
    return JSONResponse(
        {
            "a": None if a is None else _told(panel, a),
            "b": None if b is None else _told(panel, b),
            "between": "" if a is None or b is None else difference(panel, a, b),
        }
    )


def picture(request: Request) -> Response:
    """A picture of one drop, as `tautlog show` draws it."""
    wanted = request.query_params.get("page", "")
    try:
        if wanted not in (*PICTURES, FLIGHT):
            raise RecordError(f"there is no page {wanted!r}: {', '.join((*PICTURES, FLIGHT))}")
        name = request.path_params["name"]
        shown = _named(desk_of(request), name)
        with _drawing:
            svg = _drawn(wanted, shown, f"{wanted} of {name}")
    except TautlogError as problem:
        return Response(str(problem), 404, media_type="text/plain")
    # An image needs the namespace that a part of a page does not.
    return Response(
        svg if "xmlns=" in svg[:400] else svg.replace("<svg", f"<svg {_NAMESPACE}", 1),
        media_type="image/svg+xml",
        headers={"Content-Security-Policy": PICTURE_POLICY},
    )


def _drawn(wanted: str, shown: NamedDrop, caption: str) -> str:
    if wanted == FLIGHT:
        against = against_flight_at(shown.drop)
        return svg_of(draw_flight(shown.drop, against, shown.name), caption)
    return svg_of(draw_view(view(wanted, [shown])), caption)


_NAMESPACE = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def _panel(request: Request) -> Panel:
    """The panel with the drops that are asked for.

    Raises
    ------
    RecordError
        If there is no such page or drop, or nothing to draw.
    """
    asked = request.query_params
    which = asked.get("page", PAGES[0])
    names = list(dict.fromkeys(asked.getlist("drop")))[:MOST_LAID_OVER]
    if which not in PAGES or not names:
        raise RecordError(f"expected drops, and a page of {', '.join(PAGES)}")
    return view(which, [_named(desk_of(request), name) for name in names]).panels[0]


def _named(desk: Desk, name: str) -> NamedDrop:
    opened = desk.opened(name)
    marked = f"{MARK}: {name}" if opened.record.rehearsed else name
    return NamedDrop(marked, opened.drop)


def _seen(request: Request) -> tuple[float, float]:
    """The stretch of the axis that is seen; infinite without one."""
    low, high = _number(request, "from"), _number(request, "to")
    if low is None or high is None or not low < high:
        return -math.inf, math.inf
    return low, high


def _number(request: Request, name: str) -> float | None:
    """A finite number in the address, or None."""
    try:
        value = float(request.query_params.get(name, ""))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _points(curve: Curve, low: float, high: float) -> dict[str, Any]:
    """A curve in a stretch, thinned so that no peak of it is lost; one sample more at each end."""
    first = max(int(np.searchsorted(curve.x, low)) - 1, 0)
    last = int(np.searchsorted(curve.x, high)) + 1
    x, y = curve.x[first:last], curve.y[first:last]
    places = thinned(y, POINTS) if x.size else np.arange(0)
    return {
        "name": curve.name,
        "faint": curve.faint,
        "x": [round(float(value), 7) for value in x[places]],
        "y": [round(float(value), 3) if np.isfinite(value) else None for value in y[places]],
        "samples": int(x.size),
    }


def _tag(curve: dict[str, Any], number: int) -> list[float] | None:
    """Where a curve is told from the others: each at another height of its way down."""
    y = [-math.inf if value is None else value for value in curve["y"]]
    top = max(y, default=0.0)
    if curve["faint"] or not top > 0.0:
        return None
    level = top * (0.88 - 0.1 * number)
    at = next((place for place in range(y.index(top), len(y)) if y[place] <= level), None)
    return None if at is None else [curve["x"][at], y[at]]


def _cursor(request: Request, panel: Panel, name: str, width: float) -> Cursor | None:
    """The sample that a cursor sits on."""
    x, y = _number(request, name), _number(request, f"{name}y")
    if x is None:
        return None
    whole = [curve for curve in panel.curves if curve.x.size]
    if not math.isfinite(width) and whole:
        width = max(float(np.ptp(curve.x)) for curve in whole)
    heights = [float(np.nanmax(np.abs(curve.y))) for curve in whole if np.isfinite(curve.y).any()]
    found = pointed_at(panel, x, y or 0.0, (width or 1.0, max(heights, default=1.0) or 1.0))
    by = _number(request, f"{name}by") or 0.0
    return None if found is None else moved(panel, found, int(max(min(by, 1e6), -1e6)))


def _told(panel: Panel, cursor: Cursor) -> dict[str, object]:
    curve = panel.curves[cursor.curve]
    y = float(curve.y[cursor.sample])
    return {
        "x": float(curve.x[cursor.sample]),
        "y": y if math.isfinite(y) else None,
        "text": reading(panel, cursor),
    }
