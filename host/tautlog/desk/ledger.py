"""Ledger: what every article, line and mount has been through, and drops entered by hand."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import mount_name
from tautlog.campaign.known_names import unknown_names
from tautlog.campaign.ledger import (
    Exposure,
    LedgerEntry,
    add_entry,
    all_entries,
    exposures,
    head,
    read_entries,
    rehearsals,
    row,
)
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, entered_at, page
from tautlog.errors import CampaignError, TautlogError
from tautlog.files.json_lines import Standing
from tautlog.model import quantities as q
from tautlog.model.display_units import SI
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page: counts, entries by hand, and a new entry."""
    desk = desk_of(request)
    campaign, _ = desk.campaign_or_why()
    units = campaign.units if campaign else SI
    problem, rows, entries, doubts = "", [], [], []
    try:
        records = desk.records()
        doubts = [f"{record.name}: {text}" for record in records for text in record.doubts]
        entries = all_entries(desk.folder)[::-1]
        rows = [(one.kind, row(one, units)) for one in _exposed(request, campaign, records)]
    except TautlogError as wrong:
        problem = str(wrong)
    return page(
        request,
        "ledger.html",
        task="ledger",
        status=400 if said else 200,
        said=said,
        problem=problem,
        head=head(units),
        rows=rows,
        entries=entries,
        doubts=doubts,
        words=_words,
        typed=dict(entered or {}),
        lines=[line.name for line in campaign.lines] if campaign else [],
        articles=[article.name for article in campaign.articles] if campaign else [],
        mounts=[mount.name for mount in campaign.mounts] if campaign else [],
    )


def _exposed(
    request: Request, campaign: Campaign | None, records: list[RecordSummary]
) -> list[Exposure]:
    folder = desk_of(request).folder
    mounts = [(mount.name, mount.proven_on) for mount in campaign.mounts] if campaign else []
    own = [record for record in records if record.path.parent == folder]
    return exposures(own, read_entries(folder), mounts) + rehearsals(records)


def _words(standing: Standing[LedgerEntry]) -> str:
    """What an entry says was dropped."""
    entry = standing.entry
    if entry is None:
        return "cannot be read"
    names = ", ".join(name for name in (entry.article, entry.line, entry.mount) if name)
    return names or "no such drop"


def enter(request: Request, entered: Entered) -> Response:
    """Enter a drop that nobody recorded, or correct an entry."""
    desk = desk_of(request)
    campaign, broken = desk.campaign_or_why()
    try:
        if campaign is None:
            raise CampaignError(broken)
        article, line, mount = (entered.text(name) for name in ("article", "line", "mount"))
        look = unknown_names(campaign, article=article, line=line)
        if look and entered.text("anyway") != "yes":
            raise CampaignError(
                f"{'; '.join(look)}. A past drop may have had other names: tick the box if so"
            )
        entry = LedgerEntry(
            stamp(),
            signed(entered.text("by")),
            article=article,
            line=line,
            mount=mount_name(campaign, mount) if mount else "",
            peak_at_most_n=entered.number("peak_n", q.FORCE),
            note=entered.text("note"),
            supersedes=entered.entry_number("supersedes"),
            reason=signed(entered.text("reason")),
        )
        added = add_entry(desk.folder, entry)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return entered_at(request, "/ledger", "entry", added.doubt)
