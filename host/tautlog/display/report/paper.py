"""Paper: a report as PDF, page by page.

Page one answers; then come what lies around the drops, one page for each drop, the campaign, and
the annex. What does not fit on the page of its drop stands in full in the annex.
"""

from __future__ import annotations

from pathlib import Path

from tautlog.display.report.contents import Contents
from tautlog.display.report.paper_annex import put_annex, put_campaign
from tautlog.display.report.paper_drop import put_drop
from tautlog.display.report.paper_front import put_circumstances, put_front
from tautlog.display.report.sheet import Paper
from tautlog.files.new_file import new_or_replaced


def write_pdf(
    path: Path, contents: Contents, *, paper: str = "a4", replace: bool = False
) -> Path | None:
    """Write a report to a PDF file.

    Parameters
    ----------
    path, contents : Path, Contents
        The file, and the content of the report.
    paper : str
        One of `FORMATS`.
    replace : bool
        A file of that name is kept under a number, and gives its name.

    Returns
    -------
    Path or None
        Where the old file is now.

    Raises
    ------
    RecordExistsError, RecordError
        If a file of that name exists; if it cannot be written.
    """
    return new_or_replaced(path, pdf_of(contents, paper), replace=replace)


def pdf_of(contents: Contents, paper: str = "a4") -> bytes:
    """The bytes of a report as PDF."""
    pages = Paper(contents.title, contents.number, contents.mark, paper)
    measure = Paper(contents.title, contents.number, contents.mark, paper, dry=True)
    put_front(pages, contents)
    put_circumstances(pages, contents)
    cut = [drop for drop in contents.drops if not put_drop(pages, measure, drop)]
    measure.close_fonts()
    pages.add_page()
    put_campaign(pages, contents)
    put_annex(pages, contents, cut)
    pages.write_lines(f"End of report {contents.number}", bold=True)
    return bytes(pages.output())
