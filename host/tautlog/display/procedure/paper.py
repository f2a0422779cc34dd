"""Paper: a procedure as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from tautlog.display.procedure.contents import Block, Procedure
from tautlog.display.procedure.tables import Table
from tautlog.display.report.sheet import (
    BAD,
    GAP_MM,
    INK,
    LINE_MM,
    SMALL_PT,
    SOFT,
    TITLE_PT,
    Paper,
)
from tautlog.files.new_file import new_or_replaced

SIGN_MM = 16.0
LAST_ROWS = 2  # of a table that goes on: they stand on the page of its signature


def write_procedure(
    path: Path, told: Procedure, *, paper: str = "a4", replace: bool = False
) -> Path | None:
    """Write a procedure to a PDF file; arguments, result and errors as of `paper.write_pdf`."""
    return new_or_replaced(path, pdf_of(told, paper), replace=replace)


def pdf_of(told: Procedure, paper: str = "a4") -> bytes:
    """The bytes of a procedure as PDF."""
    pages = Paper(told.title, told.number, told.mark, paper)
    pages.write_lines(told.title, size=TITLE_PT, bold=True)
    pages.write_lines(
        f"Procedure {told.number}. Printed {told.written} by {told.software}.",
        size=SMALL_PT,
        hue=SOFT,
    )
    head = told.head or "none: nothing has been kept yet"
    pages.write_lines(f"Head of the campaign's chain: {head}", size=SMALL_PT, hue=SOFT)
    if told.mark:
        pages.write_lines(told.mark, bold=True, hue=BAD)
    pages.ln(1.0)
    for text in told.cautions:
        pages.write_lines(text, bold=True)
    for block in told.blocks:
        _put(pages, block)
    pages.ln(2.0)
    pages.write_lines(f"End of procedure {told.number}", bold=True)
    return bytes(pages.output())


def _put(pages: Paper, block: Block) -> None:
    pages.heading(block.heading)
    pages.points(block.texts, SMALL_PT)
    if block.texts:
        pages.ln(1.0)
    for table in block.tables[:-1] if block.signed else block.tables:
        pages.rows(table.head, table.rows, table.widths)
    if block.signed:
        _signed(pages, block.tables[-1] if block.tables else None)


def _signed(pages: Paper, table: Table | None) -> None:
    """The last table of a step and the places that sign it, which never stand on a page alone."""
    if table is None:
        if pages.will_page_break(SIGN_MM):
            pages.add_page()
        _signature(pages)
        return
    whole = Table(table.head, table.rows[-LAST_ROWS:], table.widths)
    above = table.rows[:-LAST_ROWS]
    if _fits(pages, table):
        whole, above = table, ()
    elif above:
        pages.rows(table.head, above, table.widths)
        if _fits(pages, Table((), whole.rows, table.widths)):
            whole = Table((), whole.rows, table.widths)
            pages.set_y(pages.get_y() - GAP_MM)  # one table, as if it had been written at once
        else:
            pages.add_page()
    elif not _fits(pages, whole):
        pages.add_page()
    pages.rows(whole.head, whole.rows, whole.widths)
    _signature(pages)


def _fits(pages: Paper, table: Table) -> bool:
    """Whether a table and the places that sign it fit on what is left of the page."""
    with pages.offset_rendering() as tried:
        tried.rows(table.head, table.rows, table.widths)
        _signature(cast(Paper, tried))  # it records what is asked of the paper
    return not tried.page_break_triggered


def _signature(pages: Paper) -> None:
    """Places for name, time and the numbers of deviations, in one row."""
    pages.ln(7.0)
    top, gap = pages.get_y(), 6.0
    width = (pages.epw - 2 * gap) / 3.0
    for place, text in enumerate(("Done by", "Date and time", "Deviations, by number, or none")):
        left = pages.l_margin + place * (width + gap)
        pages.set_draw_color(*INK)
        pages.line(left, top, left + width, top)
        pages.set_xy(left, top + 0.6)
        pages.write_lines(text, size=SMALL_PT, width=width, hue=SOFT)
    pages.set_xy(pages.l_margin, top + LINE_MM + 1.5)
