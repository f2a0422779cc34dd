"""Rig: the rehearsed rig of a desk that practises: how it stands, and what hands do at it."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from tautlog.desk.fields import with_unit
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, page, piece, visitor_of
from tautlog.errors import CampaignError, QuantityError
from tautlog.rehearsal import stand
from tautlog.rehearsal.bench import HELP
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.practice import Practice

NO_RIG = (
    "This desk has no rehearsed rig. `tautlog desk --practice` has one, in a campaign to practise "
    "with."
)
# Words that a button says alone, in the order of a day.
HANDS = (
    ("lower", "Lower the sled"),
    ("hang", "Let the sled hang"),
    ("unhang", "Take off what hangs"),
    ("pull 0", "Let the pull go"),
    ("coil in", "Coil on"),
    ("latch", "Raise it on the latch"),
    ("key on", "Key on"),
    ("key off", "Key off"),
    ("hand", "Pull the pin by hand"),
)
# Words with a figure: word, what it is, unit.
FIGURES = (
    ("hang", "weight on the cell", "kg"),
    ("pull", "pull at the cell", "N"),
    ("mass", "mass of the sled", "kg"),
    ("height", "height above a taut line", "m"),
    ("line", "stiffness of the line", "N/m"),
)


def show(request: Request, said: str = "", did: str = "") -> Response:
    """The page: a picture of the rig, and buttons for hands; watchers only look."""
    practice = desk_of(request).practice
    if practice is None:
        return PlainTextResponse(NO_RIG, 404)
    return page(
        request,
        "rig.html",
        task="rig",
        status=400 if said else 200,
        said=said,
        did=did,
        hands=HANDS,
        figures=FIGURES,
        faults=list(FAULTS.values()),
        words=HELP,
        port=practice.url,
        bench_port=practice.bench_port,
        **_stands(request, practice),
    )


def now(request: Request) -> Response:
    """How it stands now, for the page's script."""
    practice = desk_of(request).practice
    if practice is None:
        return PlainTextResponse(NO_RIG, 404)
    return piece(request, "rig_now.html", **_stands(request, practice))


def enter(request: Request, entered: Entered) -> Response:
    """Do a word at the rig; nothing of the campaign changes."""
    practice = desk_of(request).practice
    if practice is None:
        return PlainTextResponse(NO_RIG, 404)
    verb = entered.text("word")
    try:
        si = next((si for word, _, si in FIGURES if word == verb), "")
        word = f"{verb} {with_unit(entered.text('figure'), si, entered.units)}".strip()
        practice.bench.do(word)
    except (CampaignError, QuantityError) as problem:
        return show(request, str(problem))
    return show(request, did=word)


def _stands(request: Request, practice: Practice) -> dict[str, object]:
    bench = practice.bench
    with bench.lock:
        rig = bench.stand
        units = desk_of(request).units
        told = bench.stands(units)
        # What a second person threw in is theirs to know, and the crew's to find out.
        spoilt = [(name, text) for name, text in told if name in ("wires", "fault")]
        return {
            "sled": rig.sled,
            "sled_text": rig.sled_said(units),
            "armed": rig.armed,
            "moving": rig.moving,
            "whole": rig.article_whole,
            "weights_kg": sum(rig.weights_kg.values()),
            "rows": [one for one in told if one not in spoilt],
            "spoilt": spoilt if visitor_of(request).may_enter else [],
            "places": {
                stand.RAISED: 96,
                stand.HANGS: 236,
                stand.FALLEN: 236 if rig.article_whole else 318,
                stand.DOWN: 318,
            },
        }
