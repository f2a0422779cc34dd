"""Steps: the campaign's steps in their order, and what is stated of the part."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from tautlog.desk.page import desk_of, page
from tautlog.errors import TautlogError
from tautlog.planning.sequence import Course, course_of
from tautlog.qualify.statement import CAUTION, Statement, statement_of


def show(request: Request) -> Response:
    """The page of the steps."""
    desk = desk_of(request)
    campaign, _ = desk.campaign_or_why()
    course: Course | None = None
    said: Statement | None = None
    problem = ""
    if campaign is not None:
        try:
            records = desk.records()
            course = course_of(campaign, records)
            if campaign.qualification.asked:
                said = statement_of(campaign, records)
        except TautlogError as why:
            problem = str(why)
    return page(
        request,
        "steps.html",
        task="today",
        course=course,
        statement=said,
        about=CAUTION,
        problem=problem,
    )
