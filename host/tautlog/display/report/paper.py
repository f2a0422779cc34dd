"""Paper: a report as PDF, with text that can be searched."""

from __future__ import annotations

import base64
import contextlib
import io
import logging
from collections.abc import Iterable, Sequence
from dataclasses import astuple
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace, TTFFont

from tautlog.display.pictures.image import fonts_folder
from tautlog.display.report.contents import Contents, DropTold, Picture
from tautlog.files.new_file import new_file

TEXT_PT, SMALL_PT, LARGE_PT, TITLE_PT = 9.0, 7.5, 13.0, 17.0
LINE_MM, MARGIN_MM, PHOTO_MM = 4.6, 16.0, 60.0
UNREADABLE = "\ufffd"
Row = Sequence[str]


class Paper(FPDF):
    """An A4 page after page, numbered, in letters that are in the file."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4")
        # Of a sign that the letters lack it would speak on standard error; see `plain`.
        logging.getLogger("fpdf").setLevel(logging.ERROR)
        logging.getLogger("fontTools").setLevel(logging.ERROR)
        for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold")):
            self.add_font("letters", style, str(fonts_folder() / f"{name}.ttf"))
        self.set_font("letters", size=TEXT_PT)
        letters = self.fonts["letters"]
        assert isinstance(letters, TTFFont)
        self._known = set(letters.cmap)
        self._title = self.plain(title)
        self.set_title(self._title)
        self.set_lang("en")
        self.set_margin(MARGIN_MM)
        self.set_draw_color(150)
        self.set_line_width(0.15)
        self.set_auto_page_break(True, MARGIN_MM)
        self.add_page()

    def footer(self) -> None:
        """Title and number of the page."""
        self.set_y(-11.0)
        self.set_font("letters", size=SMALL_PT)
        self.cell(0, 4.0, f"{self._title}, page {self.page_no()}", align="R")

    def plain(self, text: object) -> str:
        """Text of letters that there are."""
        return "".join(
            sign if sign == "\n" or ord(sign) in self._known else UNREADABLE for sign in str(text)
        )

    def heading(self, text: str, level: int = 0) -> None:
        """A heading, which also stands in the list of contents."""
        size = (LARGE_PT, TEXT_PT + 1.5)[level]
        if self.will_page_break(4 * size * 0.5):
            self.add_page()
        self.ln(2.5)
        self.start_section(self.plain(text), level=level)
        self.write_lines(text, size=size, bold=True)
        self.ln(0.8)

    def write_lines(self, text: object, *, size: float = TEXT_PT, bold: bool = False) -> None:
        """A paragraph over the whole width."""
        self.set_font("letters", "B" if bold else "", size)
        self.multi_cell(
            0,
            LINE_MM * size / TEXT_PT,
            self.plain(text),
            align="L",
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )

    def points(self, texts: Iterable[object]) -> None:
        """A list."""
        for text in texts:
            self.write_lines(f"\N{BULLET} {text}")

    def rows(self, head: Row, rows: Iterable[Row], widths: Sequence[float]) -> None:
        """A table whose head comes again on every page."""
        self.set_font("letters", size=SMALL_PT)
        with self.table(
            col_widths=tuple(widths),
            line_height=LINE_MM * 0.85,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD"),
            first_row_as_headings=bool(head),
            text_align="LEFT",
            padding=0.6,
        ) as table:
            for cells in ([head] if head else []) + list(rows):
                row = table.row()
                for cell in cells:
                    row.cell(self.plain(cell))
        self.ln(1.5)

    def drawing(self, picture: Picture) -> None:
        """A picture, and what it shows in words."""
        height_mm = self.epw * 0.45 + LINE_MM
        if self.will_page_break(height_mm):
            self.add_page()
        told = self.plain(picture.told)
        self.ln(1.5)
        self.image(io.BytesIO(picture.svg.encode()), w=self.epw, alt_text=told)
        self.write_lines(told, size=SMALL_PT)


def write_pdf(path: Path, contents: Contents) -> None:
    """Write a report to a new PDF file.

    Parameters
    ----------
    path : Path
        File to make.
    contents : Contents
        What it tells.

    Raises
    ------
    RecordExistsError, RecordError
        If there is a file of that name; if it cannot be written.
    """
    with new_file(path) as draft:
        draft.write_bytes(pdf_of(contents))


def pdf_of(contents: Contents) -> bytes:
    """Return the bytes of a report."""
    paper = Paper(contents.title)
    _front(paper, contents)
    for drop in contents.drops:
        paper.add_page()
        _drop(paper, drop)
    paper.add_page()
    _worth(paper, contents)
    _hanging_over_all(paper, contents)
    return bytes(paper.output())


def _front(paper: Paper, contents: Contents) -> None:
    drops = contents.drops
    paper.write_lines(contents.title, size=TITLE_PT, bold=True)
    paper.write_lines(
        f"{contents.count}, {contents.first_utc} to {contents.last_utc}. Written "
        f"{contents.written} by {contents.software}."
    )
    paper.write_lines(f"{contents.outcomes}.", bold=True)
    paper.ln(1.5)
    paper.write_lines(contents.caution)
    paper.heading("Requirement and decision rule")
    if contents.requirement:
        paper.rows((), contents.requirement, (1, 3))
    paper.write_lines(contents.rule)
    paper.heading("All drops")
    head = ("drop", "article", "kg", "m", "peak N", "record", "load", "trace", "found", "test")
    rows = [
        (
            one.name,
            one.article,
            one.mass,
            one.height,
            one.peak,
            "\n".join(filter(None, (one.words.record, one.status))),
            one.words.load,
            one.words.trace,
            one.finding,
            _tested(one),
        )
        for one in drops
    ]
    paper.rows(head, rows, (20, 11, 6, 6, 13, 11, 14, 11, 14, 22))
    for name, problem in contents.unreadable:
        paper.write_lines(f"{name} cannot be read: {problem}", size=SMALL_PT)


def _tested(drop: DropTold) -> str:
    told, decision = drop.words.test, drop.decision
    if decision:
        told += f" is proposed\n{decision.words} decided by {decision.by}"
    return told


def _drop(paper: Paper, drop: DropTold) -> None:
    paper.heading(drop.name)
    decision, override = drop.decision, drop.override
    for number, line in enumerate(drop.lines, start=1):
        paper.write_lines(line, bold=number == 2)
    paper.points(drop.notes)
    if decision:
        paper.write_lines(
            f"Decided by {decision.by} ({decision.utc}): {decision.words}, because: "
            f"{decision.reason}. Proposed was: {decision.proposed_words}."
        )
    if override:
        paper.write_lines(
            f"Dropped all the same by {override.by}: {override.reason}. What stood against "
            f"it: {override.refused}."
        )
    paper.write_lines(drop.set_up)
    if drop.plan:
        paper.heading("Against the plan", 1)
        paper.points(drop.plan)
    paper.drawing(drop.picture)
    paper.heading("Reasons", 1)
    paper.points(drop.reasons)
    _inspected(paper, drop)
    paper.heading("Figures", 1)
    figures = drop.figures
    half = -(-len(figures) // 2)
    rows = [(*one, *two) for one, two in zip(figures, [*figures[half:], ("", "")], strict=False)]
    paper.rows(("figure", "value", "figure", "value"), rows[:half], (5, 2, 5, 2))
    paper.heading("Uncertainty", 1)
    for budget in drop.budgets:
        paper.write_lines(
            f"{budget.figure} = {budget.value}: expanded +/- {budget.expanded}, k = {budget.k}"
        )
        parts = [(one.name, one.u, one.kind, one.basis) for one in budget.parts]
        paper.rows(("from", "standard u", "kind", "basis"), parts, (4, 2, 1, 7))


def _inspected(paper: Paper, drop: DropTold) -> None:
    paper.heading("Inspection", 1)
    if not drop.inspections:
        paper.write_lines("Nobody has entered an inspection.")
    paper.points(drop.inspections)
    for photo in drop.photos:
        if photo.data:
            image = base64.b64decode(photo.data.split(",", 1)[1])
            if paper.will_page_break(PHOTO_MM):
                paper.add_page()
            # A thumbnail that cannot be put on paper is named all the same.
            with contextlib.suppress(OSError, ValueError):
                paper.image(io.BytesIO(image), w=PHOTO_MM, alt_text=paper.plain(photo.alt))
        paper.write_lines(f"{photo.name}: {photo.told}", size=SMALL_PT)
    if drop.checklist:
        paper.write_lines(f"Checklist: {drop.checklist}")


def _worth(paper: Paper, contents: Contents) -> None:
    paper.heading("What the measurements are worth")
    rows = [
        (one.name, *(str(getattr(one.calibration, name)) for name in _CALIBRATION))
        for one in contents.drops
    ]
    head = ("drop", "N / V", "U, k = 2", "covered N", "date", "calibration")
    paper.rows(head, rows, (5, 2, 2, 2, 2, 5))
    if contents.closures_picture:
        paper.drawing(contents.closures_picture)


_CALIBRATION = ("slope", "u", "covered", "date", "note")


def _hanging_over_all(paper: Paper, contents: Contents) -> None:
    paper.heading("Ledger")
    paper.rows(contents.ledger_head, contents.ledger, (2.5, 4, 1.5, 1.5, 2, 2, 2, 4))
    if contents.corrections:
        paper.heading("Corrected", 1)
        paper.points(contents.corrections)
    paper.heading("Articles compared")
    paper.write_lines(contents.articles_told)
    head = (
        *("article", "version", "drops here", "first damage N", "ms after onset", "energy J"),
        *("highest N", "found last", "where it gave"),
    )
    rows = [astuple(one) for one in contents.articles]
    paper.rows(head, rows, (3, 2, 1.5, 2, 2, 2, 2, 2.5, 4))
    paper.heading("Open questions")
    paper.points(contents.questions or ["None that the records show."])
    _signatures(paper, contents.decides)
    paper.heading("Definitions")
    paper.rows(("figure", "means"), contents.definitions, (2, 5))


def _signatures(paper: Paper, decides: str) -> None:
    """Lines to sign on."""
    if paper.will_page_break(34.0):
        paper.add_page()
    paper.ln(22.0)
    width = paper.epw / 3.0 - 6.0
    decided = f"Decides{': ' + decides if decides else ''}, date"
    top = paper.get_y()
    for number, text in enumerate(("Operator, date", decided, "Witness, date")):
        left = MARGIN_MM + number * (width + 9.0)
        paper.line(left, top, left + width, top)
        paper.set_xy(left, top + 1.0)
        paper.set_font("letters", size=SMALL_PT)
        paper.multi_cell(width, LINE_MM * 0.85, paper.plain(text), new_y=YPos.TOP)
    paper.set_xy(MARGIN_MM, top + 10.0)
