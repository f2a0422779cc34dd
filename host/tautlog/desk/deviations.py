"""Deviations: where the work was not done as the procedure says, and the answers to it."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from tautlog.campaign.deviations import (
    REQUIREMENTS,
    Deviation,
    Logged,
    enter_deviation,
    read_log,
)
from tautlog.campaign.procedure_steps import STEPS
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, entered_at, page
from tautlog.errors import CampaignError, TautlogError
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page: deviations with their answers, and a new entry."""
    problem, records = "", []
    log: tuple[Logged, ...] = ()
    try:
        log = read_log(desk_of(request).folder)
        records = [record.name for record in desk_of(request).records()][::-1]
    except TautlogError as wrong:
        problem = str(wrong)
    return page(
        request,
        "deviations.html",
        task="deviations",
        status=400 if said else 200,
        said=said,
        problem=problem,
        log=log[::-1],
        numbers=_standing(log),
        records=records,
        steps=list(STEPS),
        requirements=list(REQUIREMENTS),
        typed=dict(entered or {}),
    )


def _standing(log: tuple[Logged, ...]) -> list[str]:
    """Numbers of the deviations that may be answered, latest first."""
    return [str(one.number) for one in log[::-1] if one.superseded_by is None]


def enter(request: Request, entered: Entered) -> Response:
    """State a deviation, answer one, or correct an entry."""
    desk = desk_of(request)
    campaign, broken = desk.campaign_or_why()
    try:
        if campaign is None:
            raise CampaignError(broken)
        made = Deviation(
            stamp(),
            signed(entered.text("by")),
            entered.text("text"),
            record=entered.text("record"),
            step=entered.text("step"),
            requirement=entered.text("requirement"),
            agreed=entered.text("agreed"),
            answers=entered.entry_number("answers"),
            supersedes=entered.entry_number("supersedes"),
            reason=signed(entered.text("reason")),
        )
        added, doubts = enter_deviation(campaign, made, desk.records())
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return entered_at(request, "/deviations", "deviation", added.doubt, *doubts)
