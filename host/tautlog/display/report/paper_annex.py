"""Paper annex: the campaign around the drops, and what stands behind their figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple

from tautlog.display.report.contents import (
    OUTCOMES_HEAD,
    Contents,
    DropSection,
    Matrix,
    StatementText,
)
from tautlog.display.report.paper_front import put_items
from tautlog.display.report.sheet import SMALL_PT, SOFT, TINY_PT, Paper

CLOSURES_MM, CLOSURES_RATIO = 55.0, 3.6 / 9.0
FIELDS_ABOUT = (
    "What ISO/IEC 17025:2017 asks of a test report, clause by clause in our words, and what this "
    "one holds. It is no statement that anything conforms to that standard."
)


def put_campaign(paper: Paper, contents: Contents) -> None:
    """Quality of the measurements, ledger, articles, and the fields of a test report."""
    paper.heading("Quality of the measurements")
    if contents.closures_picture:
        paper.drawing(contents.closures_picture, CLOSURES_MM, CLOSURES_RATIO)
    else:
        paper.write_lines("There is no drop whose closures could be drawn.", size=SMALL_PT)
    paper.heading("Ledger")
    widths = (2.5, 4, 1.5, 1.5, 2, 2, 2, 4)
    paper.rows(contents.ledger_head, contents.ledger, widths, TINY_PT)
    if contents.corrections:
        paper.heading("Corrections", 1)
        paper.points(contents.corrections, SMALL_PT)
    if contents.chain:
        paper.write_lines(contents.chain, size=SMALL_PT)
    paper.heading("Articles compared")
    paper.write_lines(contents.articles_caption, size=SMALL_PT, hue=SOFT)
    rows = [astuple(article) for article in contents.articles]
    paper.rows(contents.articles_head, rows, (3, 1.7, 1.5, 2, 2, 1.8, 2, 4, 2.5, 3.5), TINY_PT)
    if contents.statement:
        _statement(paper, contents.statement)
    paper.heading("Fields of a test report")
    paper.write_lines(FIELDS_ABOUT, size=SMALL_PT, hue=SOFT)
    put_items(paper, ("clause", "here"), contents.fields)


def _statement(paper: Paper, said: StatementText) -> None:
    """What is stated of the part, from which articles, and what it assumes."""
    paper.heading("Statement about the part")
    decides = f"Proposed by the program; decides: {said.decides}."
    paper.write_lines(f"{said.word}. {said.text} {decides}", size=SMALL_PT)
    paper.points([f"Why not: {text}" for text in said.why_not], SMALL_PT)
    for text in filter(None, (said.shown, f"method: {said.method}")):
        paper.write_lines(f"{text[:1].upper()}{text[1:]}.", size=SMALL_PT, hue=SOFT)
    paper.rows(OUTCOMES_HEAD, said.outcomes, (3, 2, 8, 1), TINY_PT)
    paper.label("It assumes")
    paper.points(said.assumptions, SMALL_PT)
    paper.write_lines(said.caution, size=SMALL_PT)


def put_annex(paper: Paper, contents: Contents, cut: Sequence[DropSection]) -> None:
    """All figures, the parts of their uncertainties, definitions, and what was cut before.

    Parameters
    ----------
    paper, contents : Paper, Contents
        Where it is written, and the content of the report.
    cut : sequence of DropSection
        Drops that did not fit on their pages.
    """
    paper.add_page()
    paper.heading("Annex: all figures")
    for one in contents.figures:
        paper.label(one.title)
        _matrix(paper, one, (4.0,))
    paper.heading("Annex: uncertainty")
    for one in contents.uncertainty:
        paper.label(one.title)
        _matrix(paper, one, (2.4, 0.6, 4.4))
    if cut:
        paper.heading("Annex: texts in full")
        for drop in cut:
            _in_full(paper, drop)
    paper.heading("Annex: definitions")
    rows = [(f"{label} ({key})", text) for key, label, text in contents.definitions]
    paper.rows(("figure (in JSON)", "definition"), rows, (2, 5), TINY_PT - 0.3)


def _matrix(paper: Paper, one: Matrix, fixed: Sequence[float]) -> None:
    widths = (*fixed, *(1.35,) * (len(one.head) - len(fixed)))
    paper.rows(one.head, one.rows, widths, TINY_PT - 0.6)


def _in_full(paper: Paper, drop: DropSection) -> None:
    paper.heading(f"Drop {drop.number}: {drop.name}", 1)
    decision, override = drop.decision, drop.override
    texts = [*drop.lines, *drop.notes, drop.set_up]
    if decision:
        texts.append(f"{decision.words} decided by {decision.by}: {decision.reason}")
    if override:
        texts.append(f"Overridden by {override.by}: {override.reason}; {override.refused}")
    texts += [*drop.against_flight, *drop.plan, *drop.reasons, *drop.inspections, drop.checklist]
    paper.points((text for text in texts if text), TINY_PT)
    paper.photos(drop.photos, 56.0)
