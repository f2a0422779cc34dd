"""Checklist: one person reads out, a second one answers, and the computer measures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.board.readiness import Facts
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.checklist import (
    CHALLENGES,
    GOOD_FOR_S,
    Checklist,
    add_checklist,
    answered_list,
    fresh_checklist,
    two_persons,
)
from tautlog.campaign.drop_setup import DropRequest, setup_from
from tautlog.campaign.people import require_at_the_list
from tautlog.campaign.zone import require_looked
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, page
from tautlog.drop.checking import facts_at, measured_for
from tautlog.errors import CampaignError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.load_path import PathCheck
from tautlog.model.signature import signed
from tautlog.model.trace import DropSetup

SETUP_NUMBERS = {"mass_kg": q.MASS, "height_m": q.HEIGHT}
SETUP_NAMES = ("article", "line", "mount")


@dataclass(frozen=True)
class Measured:
    """What the computer measured for this drop, as it is shown and kept, and why it could not."""

    setup: DropSetup | None
    checks: list[PathCheck]
    kept: list[PathCheck]
    problem: str


def show(
    request: Request,
    said: str = "",
    entered: Entered | None = None,
    measured: Measured | None = None,
    made: Checklist | None = None,
) -> Response:
    """The page: what is measured, the challenges, and the list that is in force."""
    desk = desk_of(request)
    campaign, _ = desk.campaign_or_why()
    fresh = fresh_checklist(desk.folder)
    left_s = GOOD_FOR_S - fresh.age_s(datetime.now(UTC)) if fresh else 0.0
    if measured is None and campaign is not None:
        measured = _measured(campaign, Entered({}), read_board=False)
    return page(
        request,
        "checklist.html",
        task="checklist",
        status=400 if said else 200,
        said=said,
        fresh=fresh,
        left_min=f"{left_s / 60.0:.0f}",
        measured=measured,
        challenges=CHALLENGES,
        typed=dict(entered.texts if entered else {}),
        made=made,
        port=campaign.port if campaign else "",
        lines=[line.name for line in campaign.lines] if campaign else [],
        articles=[article.name for article in campaign.articles] if campaign else [],
        mounts=[mount.name for mount in campaign.mounts] if campaign else [],
    )


def enter(request: Request, entered: Entered) -> Response:
    """Measure, or keep the list with its answers."""
    campaign, broken = desk_of(request).campaign_or_why()
    if campaign is None:
        return show(request, broken, entered)
    try:
        desk_of(request).orders.require_free()
        require_looked(campaign.folder)
    except TautlogError as taken:
        return show(request, str(taken), entered)
    measured = _measured(campaign, entered, read_board=True)
    if entered.text("do") != "keep":
        return show(request, "", entered, measured)
    if measured.setup is None:
        return show(request, measured.problem, entered, measured)
    try:
        made = _made(entered, measured.kept)
        required = campaign.decision.checklist == "required"
        require_at_the_list(campaign.people, made.operator, made.second, required=required)
        add_checklist(campaign.folder, made)
    except TautlogError as problem:
        return show(request, str(problem), entered, measured)
    if made.open_points:
        return show(request, "not ready: " + "; ".join(made.open_points), entered, measured, made)
    return RedirectResponse("/checklist?done=checklist", 303)


def _made(entered: Entered, checks: list[PathCheck]) -> Checklist:
    """The finished list.

    Raises
    ------
    CampaignError
        If the persons are not two, or a challenge was left out.
    """
    operator, second = two_persons(entered.text("operator"), entered.text("second"))
    answers = {code: entered.text(f"answer-{code}") for code, _ in CHALLENGES}
    left_out = [text for code, text in CHALLENGES if answers[code] not in ("yes", "no")]
    if left_out:
        raise CampaignError(f"not answered: {'; '.join(left_out)}")
    said_yes = {code: answer == "yes" for code, answer in answers.items()}
    return answered_list(operator, second, checks, said_yes)


def _measured(campaign: Campaign, entered: Entered, *, read_board: bool) -> Measured:
    """What can be measured for the drop that was asked for."""
    override = signed(entered.text("override_by")), signed(entered.text("override_reason"))
    facts: Facts | None = None
    problem = ""
    try:
        if bool(override[0]) != bool(override[1]):
            raise CampaignError("an override needs both a name and a reason")
        setup = setup_from(campaign, _request(entered))
        if read_board and campaign.port:
            try:
                facts = facts_at(campaign.port, campaign, setup)
            except TautlogError as silent:
                problem = f"the board was not read: {silent}"
        kept = measured_for(campaign, setup, facts, override)
        checks = measured_for(campaign, setup, facts, override, campaign.units)
    except TautlogError as wrong:
        return Measured(None, [], [], str(wrong))
    return Measured(setup, checks, kept, problem)


def _request(entered: Entered) -> DropRequest:
    numbers = {name: entered.number(name, kind) for name, kind in SETUP_NUMBERS.items()}
    names = {name: entered.text(name) or None for name in SETUP_NAMES}
    return DropRequest(
        mass_kg=numbers["mass_kg"],
        height_m=numbers["height_m"],
        article=names["article"],
        line=names["line"],
        mount=names["mount"],
    )
