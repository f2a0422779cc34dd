"""Gathering: the contents of a report, from its drops and their campaign."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.corrections import corrections_in
from tautlog.campaign.ledger import HEAD, Exposure, row
from tautlog.display.report import overview
from tautlog.display.report.contents import Contents
from tautlog.display.report.curves import closures_of, trace_of
from tautlog.display.report.drops import drop_section
from tautlog.display.report.figures import closures_picture
from tautlog.display.report.labels import label
from tautlog.display.report.sources import Source
from tautlog.model.marks import definitions
from tautlog.record.layout import SOFTWARE

CAUTION = (
    "Falling masses and snapping lines kill. This report describes measurements; it replaces "
    "neither local codes nor licensed practice nor the judgement of the responsible person."
)
RULE = (
    "A load counts as proven on target if the whole interval, measured peak plus and minus its "
    "expanded uncertainty U (95.45 %), lies between target and limit. Three questions are "
    "answered separately: is the record valid, which load was reached, and what happened to the "
    "article. The tool proposes; a named person decides."
)
ARTICLES_CAPTION = (
    "For each article: the force at first damage, its time after onset, and the energy that line "
    "and rig absorbed in that pull; otherwise the highest load carried."
)


def contents_of(
    sources: list[Source],
    *,
    campaign: Campaign | None = None,
    unreadable: Sequence[RecordSummary] = (),
    folder: Path | None = None,
    exposed: Sequence[Exposure] = (),
) -> Contents:
    """Gather the contents of a report.

    Parameters
    ----------
    sources, campaign : list of Source, Campaign or None
        The drops, and their campaign.
    unreadable : sequence of RecordSummary
        Records that cannot be read; the report names them.
    folder : Path or None
        Folder of the campaign, if the report is about all of it.
    exposed : sequence of Exposure
        Rows of the ledger.
    """
    real = [source for source in sources if not source.record.rehearsed]
    closures = closures_of(real)
    times = [source.record.utc[:19] for source in sources] or ["-"]
    return Contents(
        title=_title(sources, campaign, folder),
        count=overview.count_text(sources),
        outcomes=overview.outcomes_text(sources, unreadable),
        first_utc=times[0],
        last_utc=times[-1],
        written=f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
        software=SOFTWARE,
        caution=CAUTION,
        requirement=overview.requirement_rows(campaign),
        rule=RULE,
        drops=tuple(drop_section(source, campaign) for source in sources),
        unreadable=tuple((record.name, record.problem) for record in unreadable),
        closures=closures,
        closures_picture=closures_picture(closures),
        ledger_head=HEAD,
        ledger=tuple(tuple(row(exposure)) for exposure in exposed),
        corrections=tuple(corrections_in(campaign.folder)) if campaign else (),
        articles_caption=ARTICLES_CAPTION,
        articles=overview.article_rows(real, campaign),
        questions=overview.open_questions(sources, campaign),
        decides=campaign.decision.decides if campaign else "",
        definitions=_definitions(),
        traces=tuple(trace_of(source) for source in sources),
    )


def _definitions() -> tuple[tuple[str, str, str], ...]:
    """Key, label and definition of each figure, by label."""
    found = [(key, label(key), text) for key, text in definitions().items()]
    return tuple(sorted(found, key=lambda row: row[1].lower()))


def _title(sources: list[Source], campaign: Campaign | None, folder: Path | None) -> str:
    if len(sources) == 1 and folder is None:
        return f"Drop {sources[0].name}"
    return f"Campaign {campaign.name}" if campaign is not None and folder is not None else "Drops"
