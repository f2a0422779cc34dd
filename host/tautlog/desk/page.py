"""Page: an answer from a template; whatever people typed is escaped."""

from __future__ import annotations

import importlib.resources
from functools import cache

from jinja2 import Environment, FunctionLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from tautlog.desk.admission import Visitor
from tautlog.desk.desk import Desk
from tautlog.desk.fields import shown_in_field, typed_again
from tautlog.desk.guard import VISITOR
from tautlog.model.cautions import CAUTION
from tautlog.model.display_units import SI, Units
from tautlog.model.origin import MARK
from tautlog.model.shown import shown_force
from tautlog.model.verdict_words import force_text, plain_number, words

# The day from its morning to its evening: key, address, name.
DAY = (
    ("today", "/", "Today"),
    ("plan", "/plan", "Plan"),
    ("calibrate", "/calibrate", "Calibrate"),
    ("proof", "/proof", "Proof"),
    ("checklist", "/checklist", "Checklist"),
    ("drop", "/drop", "Drop"),
    ("drops", "/drops", "Drops"),
    ("ledger", "/ledger", "Ledger"),
    ("deviations", "/deviations", "Deviations"),
    ("report", "/report", "Report"),
)
RIG = ("rig", "/rig", "Rig")  # of a desk that practises
# What an entry that was just made is called; its code stands in the address.
DONE = {
    "calibration": "The calibration is kept, and in force.",
    "proof": "The proof is entered.",
    "checklist": "The checklist is complete, and valid for ten minutes.",
    "inspection": "The inspection is entered, and the drop is judged again.",
    "decision": "The decision is entered beside the proposal.",
    "marks": "The record is marked again; the earlier marks stay.",
    "export": "The file is written, beside the record.",
    "photos": "The photos are kept with the record.",
    "entry": "The entry is in the ledger.",
    "deviation": "The entry is in the log of deviations.",
    "report": "The report is written.",
}


def desk_of(request: Request) -> Desk:
    """The desk that a request is for."""
    desk: Desk = request.app.state.desk
    return desk


def visitor_of(request: Request) -> Visitor:
    """Who asks."""
    visitor: Visitor = request.scope[VISITOR]
    return visitor


def page(
    request: Request,
    template: str,
    *,
    task: str,
    status: int = 200,
    said: str = "",
    **content: object,
) -> HTMLResponse:
    """A whole page of the desk.

    Parameters
    ----------
    template : str
        Its template.
    task : str
        Where in the day it belongs; a key of `DAY` or `RIG`.
    said : str
        What went wrong with an entry, or "".
    content : object
        What the template shows.
    """
    campaign, broken = desk_of(request).campaign_or_why()
    visitor = visitor_of(request)
    frame = {
        "stations": DAY if desk_of(request).practice is None else (*DAY, RIG),
        "task": task,
        "campaign": campaign,
        "broken": broken,
        "folder": str(desk_of(request).folder),
        "rehearsed_campaign": campaign is not None and campaign.rehearsed,
        "may_enter": visitor.may_enter,
        "token": visitor.form_token,
        "said": said,
        "done": DONE.get(request.query_params.get("done", ""), "") if not said else "",
        "looks": () if said else desk_of(request).looks.told(request.query_params.get("look", "")),
        "mark": MARK,
        "caution": CAUTION,
        "units": campaign.units if campaign else SI,
    }
    return HTMLResponse(_environment().get_template(template).render(frame | content), status)


def entered_at(request: Request, address: str, done: str, *looks: str) -> RedirectResponse:
    """The answer to an entry: the page that tells of it.

    Parameters
    ----------
    address, done : str
        Address of the page; a key of `DONE`.
    looks : str
        What is doubtful about the entry; "" for nothing.
    """
    texts = tuple(filter(None, looks))
    look = f"&look={desk_of(request).looks.keep(texts)}" if texts else ""
    return RedirectResponse(f"{address}?done={done}{look}", 303)


def piece(request: Request, template: str, **content: object) -> HTMLResponse:
    """A part of a page, for a script that puts it in its place."""
    frame = {"units": desk_of(request).units}
    return HTMLResponse(_environment().get_template(template).render(frame | content))


@cache
def _environment() -> Environment:
    made = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=FunctionLoader(_template),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["words"] = words
    made.filters["force"] = force_text
    made.filters["plain"] = _plain
    made.filters["in_field"] = shown_in_field
    made.globals["typed_again"] = typed_again
    made.globals["shown_force"] = shown_force
    made.filters["bare"] = lambda text: str(text).partition(": ")[2] or str(text)
    return made


def _plain(value: float | None, si: str = "", units: Units = SI) -> str:
    return "-" if value is None else plain_number(value, si, units)


@cache
def _template(name: str) -> str:
    pages = importlib.resources.files("tautlog.desk") / "pages"
    return (pages / name).read_text(encoding="utf-8")
