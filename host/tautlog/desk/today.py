"""Today: what is to be proven, what is open, and what comes next."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.desk.desk import Desk
from tautlog.desk.page import desk_of, page
from tautlog.desk.scale import scale_of
from tautlog.display.report.overview import requirement_rows
from tautlog.errors import TautlogError
from tautlog.planning.day import ArticleState, OpenPoint, articles_of, open_points

MOST_POINTS = 14
PLACES = {
    "calibrate": "/calibrate",
    "proof": "/proof",
    "plan": "/plan",
    "checklist": "/checklist",
    "deviations": "/deviations",
    "report": "/report",
}


def show(request: Request) -> Response:
    """The first page."""
    desk = desk_of(request)
    campaign, _ = desk.campaign_or_why()
    records, problem = _records(desk)
    points: list[OpenPoint] = []
    articles: list[ArticleState] = []
    if campaign is not None:
        points, articles = open_points(campaign, records), articles_of(campaign, records)
    return page(
        request,
        "today.html",
        task="today",
        requirement=[row for row in requirement_rows(campaign) if row[1] not in ("-", "- to -")],
        articles=[(article, _scale(article, campaign)) for article in articles],
        points=[(point, _place(desk, point, records)) for point in points[:MOST_POINTS]],
        more=max(len(points) - MOST_POINTS, 0),
        drops=sum(one.on_rig for one in records),
        rehearsals=sum(one.rehearsed for one in records),
        newest=_newest(records),
        address=desk.address,
        problem=problem,
    )


def _records(desk: Desk) -> tuple[list[RecordSummary], str]:
    try:
        return desk.records(), ""
    except TautlogError as problem:
        return [], str(problem)


def _newest(records: list[RecordSummary]) -> RecordSummary | None:
    readable = [one for one in records if not one.problem]
    return max(readable, key=lambda one: one.utc, default=None)


def _scale(article: ArticleState, campaign: Campaign | None) -> object:
    best = article.by
    if campaign is None or best is None or best.peak_force_n is None:
        return None
    peak, spread = abs(best.peak_force_n), best.peak_force_expanded_u_n or 0.0
    setup = campaign.setup
    return scale_of(setup.target_n, setup.upper_n, peak, (peak - spread, peak + spread))


def _place(desk: Desk, point: OpenPoint, records: list[RecordSummary]) -> str:
    """Address at which an open point is closed, or ""."""
    if point.record:
        there = next((one for one in records if one.name == point.record), None)
        return f"/drops/{desk.address(there)}" if there else "/drops"
    return PLACES.get(point.task, "/drops" if point.task == "drop" else "")
