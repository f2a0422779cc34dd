"""Drops: all records in one table, and several laid over each other."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from tautlog.archive.catalogue import Query, chosen
from tautlog.archive.listing import SORTS, remarks, sort_key
from tautlog.archive.summary import RecordSummary
from tautlog.desk.page import desk_of, page
from tautlog.errors import TautlogError
from tautlog.model.verdict import TEST_VERDICTS, VERDICTS

MOST_ROWS = 200
MOST_LAID_OVER = 8


def show(request: Request) -> Response:
    """The table, filtered and sorted as asked."""
    desk = desk_of(request)
    asked = request.query_params
    problem = ""
    records: list[RecordSummary] = []
    try:
        records = desk.records()
    except TautlogError as wrong:
        problem = str(wrong)
    rehearsed = asked.get("rehearsed") == "yes" or _practises(request)
    query = Query(
        article=_one_of(asked, "article", {record.article for record in records}),
        line=_one_of(asked, "line", {record.line for record in records}),
        verdict=_one_of(asked, "verdict", set(VERDICTS) | set(TEST_VERDICTS)),
        rehearsed=rehearsed,
    )
    sort = _one_of(asked, "sort", set(SORTS)) or "time"
    found = sorted(chosen(records, query), key=sort_key(sort))
    readable = [record for record in found if not record.problem][::-1]
    found = readable + [record for record in found if record.problem]
    return page(
        request,
        "drops.html",
        task="drops",
        problem=problem,
        shown=[(record, desk.address(record), remarks(record)) for record in found[:MOST_ROWS]],
        more=max(len(found) - MOST_ROWS, 0),
        all_there=len(records),
        left_out=0 if rehearsed else sum(record.rehearsed for record in records),
        articles=sorted({record.article for record in records} - {""}),
        lines=sorted({record.line for record in records} - {""}),
        verdicts=VERDICTS,
        sorts=SORTS,
        sort=sort,
        query=query,
        most=MOST_LAID_OVER,
    )


def compare(request: Request) -> Response:
    """Several drops, laid over each other where the line came taut."""
    desk = desk_of(request)
    names = list(dict.fromkeys(request.query_params.getlist("drop")))[:MOST_LAID_OVER]
    rows, problem = [], "" if names else "choose drops in the table first"
    try:
        for name in names:
            rows.append((name, desk.opened(name)))
    except TautlogError as wrong:
        problem = str(wrong)
    return page(
        request,
        "compare.html",
        task="drops",
        problem=problem,
        rows=rows,
        names=[name for name, _ in rows],
        any_rehearsed=any(opened.record.rehearsed for _, opened in rows),
    )


def _practises(request: Request) -> bool:
    """Whether the campaign is itself there to practise with: then its rehearsals are its drops."""
    campaign, _ = desk_of(request).campaign_or_why()
    return campaign is not None and campaign.rehearsed


def _one_of(asked: Mapping[str, str], name: str, known: set[str]) -> str | None:
    """A word that was asked for, if there is such a word."""
    word = asked.get(name, "")
    return word if word and word in known else None
