"""Paper: a report as PDF with searchable text."""

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
from tautlog.display.report.contents import Contents, DropSection, Picture
from tautlog.files.new_file import new_file

TEXT_PT, SMALL_PT, LARGE_PT, TITLE_PT = 9.0, 7.5, 13.0, 17.0
LINE_MM, MARGIN_MM, PHOTO_MM = 4.6, 16.0, 60.0
UNREADABLE = "\ufffd"
Row = Sequence[str]


class Paper(FPDF):
    """Numbered A4 pages, with their font in the file."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4")
        # The library would warn on standard error of a missing glyph; see `plain`.
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
        """Text with every character that the font lacks replaced."""
        return "".join(
            sign if sign == "\n" or ord(sign) in self._known else UNREADABLE for sign in str(text)
        )

    def heading(self, text: str, level: int = 0) -> None:
        """Write a heading; it is also in the PDF's outline."""
        size = (LARGE_PT, TEXT_PT + 1.5)[level]
        if self.will_page_break(4 * size * 0.5):
            self.add_page()
        self.ln(2.5)
        self.start_section(self.plain(text), level=level)
        self.write_lines(text, size=size, bold=True)
        self.ln(0.8)

    def write_lines(self, text: object, *, size: float = TEXT_PT, bold: bool = False) -> None:
        """Write a paragraph over the whole width."""
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
        """Write a list."""
        for text in texts:
            self.write_lines(f"\N{BULLET} {text}")

    def rows(self, head: Row, rows: Iterable[Row], widths: Sequence[float]) -> None:
        """Write a table; its head is repeated on every page."""
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
        """Draw a picture with its caption."""
        height_mm = self.epw * 0.45 + LINE_MM
        if self.will_page_break(height_mm):
            self.add_page()
        caption = self.plain(picture.caption)
        self.ln(1.5)
        self.image(io.BytesIO(picture.svg.encode()), w=self.epw, alt_text=caption)
        self.write_lines(caption, size=SMALL_PT)


def write_pdf(path: Path, contents: Contents) -> None:
    """Write a report to a new PDF file.

    Parameters
    ----------
    path : Path
        The new file.
    contents : Contents
        The content of the report.

    Raises
    ------
    RecordExistsError, RecordError
        If a file of that name exists; if it cannot be written.
    """
    with new_file(path) as draft:
        draft.write_bytes(pdf_of(contents))


def pdf_of(contents: Contents) -> bytes:
    """The bytes of a report as PDF."""
    paper = Paper(contents.title)
    _front(paper, contents)
    for drop in contents.drops:
        paper.add_page()
        _drop(paper, drop)
    paper.add_page()
    _measurements(paper, contents)
    _campaign(paper, contents)
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
    head = ("drop", "article", "kg", "m", "peak, N", "record", "load", "trace", "found", "test")
    rows = [
        (
            drop.name,
            drop.article,
            drop.mass,
            drop.height,
            drop.peak,
            "\n".join(filter(None, (drop.words.record, drop.status))),
            drop.words.load,
            drop.words.trace,
            drop.finding,
            _tested(drop),
        )
        for drop in drops
    ]
    paper.rows(head, rows, (20, 11, 6, 6, 13, 11, 14, 11, 14, 22))
    for name, problem in contents.unreadable:
        paper.write_lines(f"{name} cannot be read: {problem}", size=SMALL_PT)


def _tested(drop: DropSection) -> str:
    text, decision = drop.words.test, drop.decision
    if decision:
        text += f" proposed\n{decision.words} decided by {decision.by}"
    return text


def _drop(paper: Paper, drop: DropSection) -> None:
    paper.heading(drop.name)
    decision, override = drop.decision, drop.override
    for number, line in enumerate(drop.lines, start=1):
        paper.write_lines(line, bold=number == 2)
    paper.points(drop.notes)
    if decision:
        paper.write_lines(
            f"Decided by {decision.by} ({decision.utc}): {decision.words}, because: "
            f"{decision.reason}. The tool proposed: {decision.proposed_words}."
        )
    if override:
        paper.write_lines(
            f"Refusal overridden by {override.by}: {override.reason}. Refused because: "
            f"{override.refused}."
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
    figures = [(label, value) for _, label, value in drop.figures]
    half = -(-len(figures) // 2)
    rows = [
        (*left, *right) for left, right in zip(figures, [*figures[half:], ("", "")], strict=False)
    ]
    paper.rows(("figure", "value", "figure", "value"), rows[:half], (5, 2, 5, 2))
    paper.heading("Uncertainty", 1)
    for budget in drop.budgets:
        paper.write_lines(
            f"{budget.figure}: {budget.value} +/- {budget.expanded} (expanded, k = {budget.k})"
        )
        parts = [(part.name, part.u, part.kind, part.basis) for part in budget.parts]
        paper.rows(("source", "standard u", "kind", "basis"), parts, (4, 2, 1, 7))


def _inspected(paper: Paper, drop: DropSection) -> None:
    paper.heading("Inspection", 1)
    if not drop.inspections:
        paper.write_lines("Nobody has entered an inspection.")
    paper.points(drop.inspections)
    for photo in drop.photos:
        if photo.data:
            image = base64.b64decode(photo.data.split(",", 1)[1])
            if paper.will_page_break(PHOTO_MM):
                paper.add_page()
            # Name a thumbnail even if it cannot be drawn.
            with contextlib.suppress(OSError, ValueError):
                paper.image(io.BytesIO(image), w=PHOTO_MM, alt_text=paper.plain(photo.alt))
        paper.write_lines(f"{photo.name}: {photo.caption}", size=SMALL_PT)
    if drop.checklist:
        paper.write_lines(f"Checklist: {drop.checklist}")


def _measurements(paper: Paper, contents: Contents) -> None:
    paper.heading("Quality of the measurements")
    rows = [
        (drop.name, *(str(getattr(drop.calibration, name)) for name in _CALIBRATION))
        for drop in contents.drops
    ]
    head = ("drop", "N/V", "U (k = 2)", "covered, N", "date", "note")
    paper.rows(head, rows, (5, 2, 2, 2, 2, 5))
    if contents.closures_picture:
        paper.drawing(contents.closures_picture)


_CALIBRATION = ("slope", "u", "covered", "date", "note")


def _campaign(paper: Paper, contents: Contents) -> None:
    paper.heading("Ledger")
    paper.rows(contents.ledger_head, contents.ledger, (2.5, 4, 1.5, 1.5, 2, 2, 2, 4))
    if contents.corrections:
        paper.heading("Corrections", 1)
        paper.points(contents.corrections)
    paper.heading("Articles compared")
    paper.write_lines(contents.articles_caption)
    head = (
        *("article", "version", "drops here", "first damage, N", "ms after onset", "energy, J"),
        *("highest, N", "found last", "where it gave way"),
    )
    rows = [astuple(article) for article in contents.articles]
    paper.rows(head, rows, (3, 2, 1.5, 2, 2, 2, 2, 2.5, 4))
    paper.heading("Open questions")
    paper.points(contents.questions or ["The records show none."])
    _signatures(paper, contents.decides)
    paper.heading("Definitions")
    rows = [(f"{label} ({key})", text) for key, label, text in contents.definitions]
    paper.rows(("figure", "definition"), rows, (2, 5))


def _signatures(paper: Paper, decides: str) -> None:
    """Draw lines for signatures."""
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
