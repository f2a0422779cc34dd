"""Paper front: page one of a report, which answers, and what lies around the drops."""

from __future__ import annotations

import re
from collections.abc import Sequence

from tautlog.display.report.contents import Contents, DropSection, Item
from tautlog.display.report.sheet import (
    BAD,
    GOOD,
    INK,
    LINE_MM,
    SMALL_PT,
    SOFT,
    TINY_PT,
    TITLE_PT,
    Paper,
)

OVERLAY_RATIO = 3.9 / 9.0
LEAST_MM, MOST_MM = 42.0, 66.0  # height of the overlay
ROW_MM = 9.6
WIDTHS = (0.25, 0.4, 0.175, 0.175)  # name, scale, proposal, decision, as shares
GAP_MM = 2.0


def put_front(paper: Paper, contents: Contents) -> None:
    """What was to be proven, whether it was, and by which drops."""
    paper.write_lines(contents.title, size=TITLE_PT, bold=True)
    paper.write_lines(
        f"Report {contents.number}. {contents.count}, {contents.first_utc} to "
        f"{contents.last_utc}. Written {contents.written} by {contents.software}.",
        size=SMALL_PT,
        hue=SOFT,
    )
    if contents.mark:
        paper.write_lines(contents.mark, bold=True, hue=BAD)
    _answer(paper, contents)
    _requirement(paper, contents)
    if contents.overlay_picture:
        rest = 10.6 * min(len(contents.drops), 10) + 31.0
        high_mm = min(max(paper.room_mm - rest, LEAST_MM), MOST_MM)
        paper.drawing(contents.overlay_picture, high_mm, OVERLAY_RATIO)
    paper.heading("All drops")
    for drop in contents.drops:
        _outcome(paper, drop)
    for name, problem in contents.unreadable:
        paper.write_lines(f"{name} cannot be read: {problem}", size=SMALL_PT)
    paper.ln(1.0)
    paper.write_lines(f"{contents.only_items} {contents.caution}", size=TINY_PT, hue=SOFT)


def _answer(paper: Paper, contents: Contents) -> None:
    """The answer in its frame."""
    answer = contents.answer
    paper.ln(1.5)
    top, left = paper.get_y(), paper.l_margin
    width = paper.epw - 6.0

    def write(text: str, size: float, bold: bool = False, hue: tuple[int, int, int] = INK) -> None:
        paper.set_x(left + 3.0)
        paper.write_lines(text, size=size, bold=bold, width=width, hue=hue)

    paper.set_y(top + 2.0)
    write(answer.question, 9.0)
    hue = GOOD if answer.kind == "proven" else BAD if answer.kind == "failed" else INK
    write(f"{answer.shape} {answer.word}", 14.0, bold=True, hue=hue)
    for one in answer.articles:
        told = f": {one.text}" if one.text else ""
        write(f"{one.shape} {one.name}: {one.word}{told}", 8.0)
    if contents.statement:
        said = contents.statement
        write(f"Of the part: {said.word}. {said.text}", 8.0, bold=True)
        for text in said.why_not:
            write(f"Why not: {text}.", SMALL_PT)
    for note in (*answer.notes, contents.outcomes):
        write(f"{note[:1].upper()}{note[1:]}.", SMALL_PT, hue=SOFT)
    bottom = paper.get_y() + 1.5
    if bottom > top:  # a very long answer goes over the page's end, and has no frame
        paper.set_draw_color(*INK)
        paper.set_line_width(0.6)
        paper.rect(left, top, paper.epw, bottom - top)
        paper.set_line_width(0.15)
    paper.set_xy(left, bottom + 0.5)


def _requirement(paper: Paper, contents: Contents) -> None:
    if not contents.requirement:
        paper.write_lines(
            "There is no campaign.toml: each drop states its own requirement.", size=SMALL_PT
        )
        return
    facts = [*contents.requirement, ("", "")]
    pairs = [(*facts[at], *facts[at + 1]) for at in range(0, len(facts) - 1, 2)]
    paper.rows((), pairs, (1.3, 4, 1.3, 4))


def _outcome(paper: Paper, drop: DropSection) -> None:
    """One drop: name, interval on its scale, proposal and decision."""
    if paper.will_page_break(ROW_MM):
        paper.add_page()
    top = paper.get_y() + 0.6
    lefts, left = [], paper.l_margin
    widths = [share * paper.epw - GAP_MM for share in WIDTHS]
    for width in widths:
        lefts.append(left)
        left += width + GAP_MM
    name = _short(f"{drop.number} {drop.name}", 36)
    place = f"{drop.day}, {_short(drop.article, 24)}, {drop.mass}, {drop.height}"
    load = re.sub(r"^peak | \(k = [0-9.]+\)", "", drop.load)
    load = f"{_short(load, 90)}; record {drop.words.record}"
    decided, by = "not decided", ""
    if drop.decision:
        decided = f"{drop.decided_shape} {drop.decision.words}"
        by = f"decided by {_short(drop.decision.by, 28)}"
    cells = (
        ((name, True), (place, False)),
        ((load, True),),
        ((f"{drop.proposed_shape} {drop.words.test}", True), ("proposed", False)),
        ((decided, bool(drop.decision)), (by, False)),
    )
    lowest = top + ROW_MM - 1.4
    for number, cell in enumerate(cells):
        paper.set_xy(lefts[number], top)
        for text, bold in cell:
            if text:
                paper.write_lines(text, size=TINY_PT + 0.2, bold=bold, width=widths[number])
        if number == 1 and drop.scale:
            paper.bar(drop.scale, lefts[1], widths[1])
        lowest = max(lowest, paper.get_y())
    paper.line(paper.l_margin, lowest + 0.3, paper.w - paper.r_margin, lowest + 0.3)
    paper.set_xy(paper.l_margin, lowest + 0.3)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 4]} ..."


def put_circumstances(paper: Paper, contents: Contents) -> None:
    """Decision rule, deviations, open questions, instruments, environment and people."""
    paper.add_page()
    paper.heading("Requirement and decision rule")
    paper.write_lines(contents.rule, size=SMALL_PT)
    if contents.units:
        paper.write_lines(contents.units, size=SMALL_PT)
    paper.heading("Deviations")
    paper.label("Stated by people")
    paper.points(contents.stated_deviations or ["None."], SMALL_PT)
    paper.label("Found by the program")
    paper.points(contents.deviations or ["The records show none."], SMALL_PT)
    paper.heading("Open questions")
    asked = contents.questions
    for label, texts in (
        ("Not proven", asked.not_proven),
        ("Not inspected", asked.not_inspected),
        ("Not stated", ("; ".join(asked.not_stated),) if asked.not_stated else ()),
    ):
        paper.label(label)
        paper.points(texts or ["Nothing."], SMALL_PT)
    paper.heading("Instruments and calibration")
    paper.write_lines(
        "Cell, amplifier and mount as campaign.toml states them now; board, converter and "
        "calibration as the records keep them.",
        size=SMALL_PT,
        hue=SOFT,
    )
    put_items(paper, ("instrument", "what is known of it", "drops"), contents.instruments)
    paper.label("Environment")
    paper.write_lines(contents.environment, size=SMALL_PT)
    paper.heading("People")
    put_items(paper, ("role", "name", "drops"), contents.people)
    _signatures(paper, contents.decides)


def put_items(paper: Paper, head: Sequence[str], items: Sequence[Item]) -> None:
    """A table of items."""
    rows = [(item.what, "; ".join(item.facts), item.drops)[: len(head)] for item in items]
    paper.rows(head, rows, (2, 6, 1.4)[: len(head)])


def _signatures(paper: Paper, decides: str) -> None:
    """Draw lines for signatures."""
    if paper.will_page_break(22.0):
        paper.add_page()
    paper.ln(12.0)
    width = paper.epw / 3.0 - 6.0
    decided = f"Decides{': ' + decides if decides else ''}, date"
    top = paper.get_y()
    for number, text in enumerate(("Operator, date", decided, "Witness, date")):
        left = paper.l_margin + number * (width + 9.0)
        paper.set_draw_color(*INK)
        paper.line(left, top, left + width, top)
        paper.set_xy(left, top + 1.0)
        paper.write_lines(_short(text, 90), size=SMALL_PT, width=width)
    paper.set_xy(paper.l_margin, top + 2.5 * LINE_MM)
