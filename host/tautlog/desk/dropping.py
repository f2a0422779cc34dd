"""Dropping: the page on which a drop is done, from the readings at rest to the verdict."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import DropRequest
from tautlog.campaign.zone import confirm_at_rest, require_looked, stay_out_now
from tautlog.desk import live
from tautlog.desk.drop_order import DropAsked, DropOrder
from tautlog.desk.drop_stands import DropStands, Phase
from tautlog.desk.fields import UNITS, shown_in_field
from tautlog.desk.forms import Entered
from tautlog.desk.orders import Standing
from tautlog.desk.page import desk_of, page, piece, visitor_of
from tautlog.drop.crew import PHRASE
from tautlog.errors import CampaignError, NotNowError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.signature import signed
from tautlog.model.surroundings import CONDITIONS
from tautlog.model.trace import DropSetup

COUNTDOWN_S, RECORD_S = DropAsked.countdown_s, DropAsked.record_s
TEXTS = ("article", "line", "mount", "operator", "note", "condition")
NUMBERS = (
    ("mass_kg", q.MASS),
    ("height_m", q.HEIGHT),
    ("target_n", q.FORCE),
    ("limit_n", q.FORCE),
    ("temperature_c", q.TEMPERATURE),
    ("humidity_percent", q.HUMIDITY),
    ("since_conditioning_h", q.HOURS),
)


def show(
    request: Request,
    said: str = "",
    entered: Mapping[str, str] | None = None,
    *,
    refused: int = 400,
) -> Response:
    """The page, wherever the drop stands."""
    campaign, _ = desk_of(request).campaign_or_why()
    return page(
        request,
        "dropping.html",
        task="drop",
        said=said,
        status=refused if said else 200,
        of=campaign,
        typed=_typed(campaign, entered),
        conditions=[one for one in CONDITIONS if one],
        names={
            "article": [one.name for one in campaign.articles] if campaign else [],
            "line": [one.name for one in campaign.lines] if campaign else [],
            "mount": [one.name for one in campaign.mounts] if campaign else [],
        },
        **_stands(request),
    )


def stands(request: Request) -> Response:
    """How it stands, for a page that puts it in its place."""
    token = visitor_of(request).form_token
    return piece(request, "drop_stands.html", token=token, **_stands(request))


def trace(request: Request) -> Response:
    """The last seconds of the trace, for a page that comes back."""
    drop = _content(desk_of(request).orders.standing)
    pieces = desk_of(request).trace.pieces() if drop else []
    return JSONResponse([one.told() for one in pieces])


def _content(standing: Standing | None) -> DropStands | None:
    if standing is None or not isinstance(standing.content, DropStands):
        return None
    return standing.content


def _stands(request: Request) -> dict[str, object]:
    """What the templates show of the standing order."""
    standing = desk_of(request).orders.standing
    drop = _content(standing)
    under_way = standing is not None and standing.under_way
    campaign, _ = desk_of(request).campaign_or_why()
    since = "" if under_way or campaign is None else _open_since(campaign)
    marked = campaign is not None and campaign.rehearsed  # the whole page bears the mark
    return {
        "drop": drop,
        "mark_of_board": drop.rehearsed if drop and not marked else "",
        "under_way": under_way and drop is not None,
        "other": standing.kind if standing and under_way and drop is None else "",
        "ended": standing.ended if standing and drop else "",
        "number": standing.number if standing and drop else 0,
        "mine": live.is_mine(request, standing),
        "crew": visitor_of(request).may_enter,
        "left_open": bool(since),
        "stay_out": since,
        "phases": Phase,
        "phrase": PHRASE,
    }


def _open_since(campaign: Campaign) -> str:
    """That people must stay out, though this desk may know of no drop; or ""."""
    try:
        return stay_out_now(campaign.folder)
    except CampaignError as problem:
        return str(problem)


def _typed(campaign: Campaign | None, entered: Mapping[str, str] | None) -> dict[str, str]:
    """What the form holds: what was typed, else what the campaign states."""
    if entered is not None:
        return dict(entered)
    if campaign is None:
        return {}
    setup, units = campaign.setup, campaign.units
    return {
        **{name: shown_in_field(getattr(setup, name), kind.unit, units) for name, kind in NUMBERS},
        **{name: str(getattr(setup, name) or "") for name in TEXTS},
        **{"countdown_s": f"{COUNTDOWN_S:g}", "record_s": f"{RECORD_S:g}", UNITS: units.key},
    }


def begin(request: Request, entered: Entered) -> Response:
    """Order a drop: first the board is looked at."""
    desk = desk_of(request)
    try:
        campaign, looked_by = desk.campaign(), signed(entered.text("looked_by"))
        require_looked(campaign.folder, looked_by)
        asked = _asked(entered, campaign.setup)
        order = DropOrder(desk.campaign, asked, live.port_of(campaign), desk.trace)
        live.begin(request, order)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse("/drop", 303)


def looked(request: Request, entered: Entered) -> Response:
    """Keep who has looked at the rig after a drop that no desk waits for any more."""
    desk = desk_of(request)
    try:
        desk.orders.require_free()
        confirm_at_rest(desk.folder, entered.text("by"))
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse("/drop", 303)


def _asked(entered: Entered, setup: DropSetup) -> DropAsked:
    """What was typed, read as strictly as the options of `tautlog drop`."""
    given: dict[str, object] = {
        name: entered.number(name, kind, getattr(setup, name)) for name, kind in NUMBERS
    }
    given |= {name: entered.text(name) or None for name in TEXTS}
    by, reason = signed(entered.text("override_by")), signed(entered.text("override_reason"))
    if bool(by) != bool(reason):
        raise CampaignError("an override needs both: who overrides, and why")
    return DropAsked(
        DropRequest(**given),  # type: ignore[arg-type]
        by_hand=entered.text("by_hand") == "yes",
        countdown_s=entered.number("countdown_s", q.COUNTDOWN) or COUNTDOWN_S,
        record_s=entered.number("record_s", q.RECORDING) or RECORD_S,
        by=by,
        reason=reason,
    )


def say(request: Request, entered: Entered) -> Response:
    """Say something to the drop that is under way: go on, the phrase, confirmed, stop."""
    fields = {name: entered.text(name) for name in ("do", "phrase", "by")}
    try:
        live.say(request, fields)
    except NotNowError as problem:
        return show(request, str(problem), None, refused=409)
    except TautlogError as problem:
        return show(request, str(problem), None)
    return RedirectResponse("/drop", 303)


def call_off(request: Request, entered: Entered) -> Response:
    """The large button: any page of the crew may press it, and it waits for nobody."""
    try:
        desk_of(request).orders.interrupt()
    except TautlogError as problem:
        return show(request, str(problem), None)
    return RedirectResponse("/drop", 303)
