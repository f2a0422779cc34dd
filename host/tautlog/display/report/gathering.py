"""Gathering: the contents of a report, from its drops and their campaign."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.corrections import corrections_in
from tautlog.campaign.laboratory import Laboratory
from tautlog.campaign.ledger import Exposure, head, row
from tautlog.display.report import overview
from tautlog.display.report.annex import figure_tables, uncertainty_tables
from tautlog.display.report.answer import answer_of
from tautlog.display.report.conditions import conditions_text
from tautlog.display.report.contents import Contents, articles_head
from tautlog.display.report.curves import closures_of, trace_of
from tautlog.display.report.drops import drop_section
from tautlog.display.report.fields import field_items
from tautlog.display.report.figures import closures_picture, overlay_picture
from tautlog.display.report.instruments import drops_text, instrument_items
from tautlog.display.report.labels import bare_label, label
from tautlog.display.report.overlay import overlay_of
from tautlog.display.report.people import people_items
from tautlog.display.report.sources import Source
from tautlog.display.report.stated_deviations import stated_deviations
from tautlog.display.report.statement import statement_text
from tautlog.display.report.words import minute
from tautlog.files.chain import HEAD_DIGITS, head_of
from tautlog.model.display_units import SI, Units
from tautlog.model.marks import definitions
from tautlog.model.origin import IMPORTED, MARK
from tautlog.qualify.statement import Statement
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
ONLY_ITEMS = "The results relate only to the items tested, as they were on the day of each drop."
ARTICLES_CAPTION = (
    "For each article: the force at first damage, its time after onset, and the energy that line "
    "and rig absorbed in that pull; otherwise the highest load carried. The time at load is that "
    "of the measured contacts of these drops; bounces and other drops do not count."
)


def contents_of(
    sources: list[Source],
    *,
    campaign: Campaign | None = None,
    unreadable: Sequence[RecordSummary] = (),
    folder: Path | None = None,
    exposed: Sequence[Exposure] = (),
    said: Statement | None = None,
    units: Units = SI,
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
    said : Statement or None
        What is stated of the part; None if nothing is asked for.
    units : Units
        Units of display, as those of the sources and of the campaign.
    """
    sources = [replace(source, number=place) for place, source in enumerate(sources, start=1)]
    written = datetime.now(UTC)
    title, number = _title(sources, campaign, folder), _number(sources, unreadable, written)
    fields = field_items(sources, campaign, title, number, f"{written:%Y-%m-%d}")
    return Contents(
        title=title,
        number=number,
        mark=_mark(sources),
        written=f"{written:%Y-%m-%d %H:%M} UTC",
        software=SOFTWARE,
        caution=CAUTION,
        rule=RULE,
        only_items=ONLY_ITEMS,
        answer=answer_of(sources, campaign, unreadable),
        statement=statement_text(said),
        outcomes=overview.outcomes_text(sources, unreadable),
        unreadable=tuple((record.name, record.problem) for record in unreadable),
        questions=overview.open_questions(sources, campaign, fields),
        fields=fields,
        **_in_units(exposed, units),
        **_of_drops(sources, campaign),
        **_of_campaign(sources, campaign),
    )


def _in_units(exposed: Sequence[Exposure], units: Units) -> dict[str, Any]:
    """The parts of a report that depend on nothing else but the ledger."""
    return {
        "ledger_head": head(units),
        "ledger": tuple(tuple(row(exposure, units)) for exposure in exposed),
        "articles_head": articles_head(units),
        "units": units.explained,
        "definitions": _definitions(units),
    }


def _of_drops(sources: list[Source], campaign: Campaign | None) -> dict[str, Any]:
    """The parts of a report that its drops alone give, with their pictures."""
    times = [minute(source.record.utc) for source in sources] or ["-"]
    drops = tuple(drop_section(source, campaign) for source in sources)
    real = [source for source in sources if source.counts]
    closures = closures_of(real)
    return {
        "articles_caption": ARTICLES_CAPTION,
        "articles": overview.article_rows(real, campaign),
        "count": overview.count_text(sources),
        "first_utc": times[0],
        "last_utc": times[-1],
        "drops": drops,
        "overlay": overlay_of(sources, campaign),
        "overlay_picture": overlay_picture(sources, campaign),
        "closures": closures,
        "closures_picture": closures_picture(closures),
        "figures": figure_tables(drops),
        "uncertainty": uncertainty_tables(drops),
        "traces": tuple(trace_of(source) for source in sources),
    }


def _of_campaign(sources: list[Source], campaign: Campaign | None) -> dict[str, Any]:
    """The parts that depend on what the campaign states."""
    laboratory = campaign.laboratory if campaign else Laboratory()
    return {
        "requirement": overview.requirement_rows(campaign),
        "deviations": overview.deviations(sources, campaign),
        "stated_deviations": stated_deviations(sources, campaign),
        "instruments": instrument_items(sources, campaign),
        "people": people_items(sources, campaign),
        "environment": conditions_text(sources, laboratory),
        "corrections": tuple(corrections_in(campaign.folder)) if campaign else (),
        "chain": _chain(campaign),
        "decides": campaign.decision.decides if campaign else "",
    }


def _chain(campaign: Campaign | None) -> str:
    head = head_of(campaign.folder) if campaign else ""
    if not head:
        return ""
    return (
        f"When this report was written the chain of all that the campaign keeps ended in {head}. "
        f"`tautlog verify --head {head[:HEAD_DIGITS]}` tells whether it still holds that."
    )


def _number(sources: list[Source], unreadable: Sequence[RecordSummary], written: datetime) -> str:
    """A number that no other report has: its time, and a hash of what it is about."""
    told = [
        f"{source.record.record_id} {source.record.path.name} {source.drop.verdict} "
        f"{source.drop.marks.peak_force_n} {source.drop.decision}"
        for source in sources
    ]
    told += [f"{record.name} {record.problem}" for record in unreadable]
    digest = hashlib.sha256("\n".join([f"{written.isoformat()}", *told]).encode()).hexdigest()
    return f"R-{written:%Y%m%d-%H%M%S}-{digest[:8]}"


def _mark(sources: list[Source]) -> str:
    """What must stand on every page of rehearsals and imports, with their numbers; or ""."""
    found = []
    for mark in (MARK, IMPORTED.upper()):
        marked = [source for source in sources if source.mark == mark]
        if marked:
            some = f": {drops_text(marked)}" if len(marked) < len(sources) else ""
            found.append(f"{mark}{some}")
    return "; ".join(found)


def _definitions(units: Units) -> tuple[tuple[str, str, str], ...]:
    """Key, label and definition of each figure, by label."""
    found = [(key, units.label(label(key)), _in_words(text)) for key, text in definitions().items()]
    return tuple(sorted(found, key=lambda row: row[1].lower()))


def _in_words(text: str) -> str:
    """A definition for readers: with labels for keys, and without the names of functions."""
    text = re.sub(r",? see `[^`]*`", "", text).replace("`", "")
    return re.sub(r"[a-z]+(?:_[a-z0-9]+)+|cfc", lambda key: bare_label(key[0]), text)


def _title(sources: list[Source], campaign: Campaign | None, folder: Path | None) -> str:
    if len(sources) == 1 and folder is None:
        return f"Test report: drop {sources[0].name}"
    if campaign is not None and folder is not None:
        return f"Test report: {campaign.name}"
    return "Test report on single drops"
