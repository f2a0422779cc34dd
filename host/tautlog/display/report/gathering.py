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
from tautlog.display.report.drops import drop_told
from tautlog.display.report.figures import closures_picture
from tautlog.display.report.sources import Source
from tautlog.model.marks import definitions
from tautlog.record.layout import SOFTWARE

CAUTION = (
    "Falling masses and snapping lines kill. This report describes measurements; it replaces "
    "neither local codes nor licensed practice nor the judgement of the responsible person."
)
RULE = (
    "A load counts as proven on target when the whole interval, measured peak plus and minus its "
    "expanded uncertainty (95.45 %), lies between target and limit. Whether the record is valid, "
    "which load was reached and what happened to the article are asked apart. The tool proposes; "
    "a named person decides."
)
ARTICLES_TOLD = (
    "Drops pulled, oldest first; force at the first damage, when it came and what energy line and "
    "rig had taken up in that pull; else the highest load carried."
)


def contents_of(
    sources: list[Source],
    *,
    campaign: Campaign | None = None,
    unreadable: Sequence[RecordSummary] = (),
    folder: Path | None = None,
    exposed: Sequence[Exposure] = (),
) -> Contents:
    """Gather what a report tells.

    Parameters
    ----------
    sources, campaign : list of Source, Campaign or None
        The drops, and what their campaign.toml says.
    unreadable : sequence of RecordSummary
        Records that cannot be read: they are named.
    folder : Path or None
        Of a campaign that is told as a whole.
    exposed : sequence of Exposure
        From the ledger.
    """
    real = [one for one in sources if not one.record.rehearsed]
    closures = closures_of(real)
    moments = [one.record.utc[:19] for one in sources] or ["-"]
    return Contents(
        title=_title(sources, campaign, folder),
        count=overview.count_told(sources),
        outcomes=overview.outcomes_told(sources, unreadable),
        first_utc=moments[0],
        last_utc=moments[-1],
        written=f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
        software=SOFTWARE,
        caution=CAUTION,
        requirement=overview.requirement_told(campaign),
        rule=RULE,
        drops=tuple(drop_told(one, campaign) for one in sources),
        unreadable=tuple((one.name, one.problem) for one in unreadable),
        closures=closures,
        closures_picture=closures_picture(closures),
        ledger_head=HEAD,
        ledger=tuple(tuple(row(one)) for one in exposed),
        corrections=tuple(corrections_in(campaign.folder)) if campaign else (),
        articles_told=ARTICLES_TOLD,
        articles=overview.articles_told(real, campaign),
        questions=overview.questions_told(sources, campaign),
        decides=campaign.decision.decides if campaign else "",
        definitions=tuple(sorted(definitions().items())),
        traces=tuple(trace_of(one) for one in sources),
    )


def _title(sources: list[Source], campaign: Campaign | None, folder: Path | None) -> str:
    if len(sources) == 1 and folder is None:
        return f"Drop {sources[0].name}"
    return f"Campaign {campaign.name}" if campaign is not None and folder is not None else "Drops"
