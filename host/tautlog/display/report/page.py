"""Page: a report as one self-contained HTML file.

The template escapes everything that people typed. A small open library inside the file draws
the curves. The file also holds them as pictures, for print and for readers without scripts.
"""

from __future__ import annotations

import importlib.resources
from dataclasses import asdict, astuple
from pathlib import Path

from jinja2 import Environment, StrictUndefined

from tautlog.display.report.contents import OUTCOMES_HEAD, Contents
from tautlog.display.report.scale import LIMIT_AT, TARGET_AT
from tautlog.files.new_file import new_or_replaced


def write_html(path: Path, contents: Contents, *, replace: bool = False) -> Path | None:
    """Write a report to an HTML file.

    Parameters
    ----------
    path, contents : Path, Contents
        The file, and the content of the report.
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
    return new_or_replaced(path, html_of(contents).encode(), replace=replace)


def html_of(contents: Contents) -> str:
    """The HTML text of a report."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["capitalize_first"] = lambda text: text[:1].upper() + text[1:]
    return environment.from_string(_file("report.html")).render(
        vars(contents),
        pc=lambda share: f"{100.0 * share:.2f}%",
        target_at=TARGET_AT,
        limit_at=LIMIT_AT,
        outcomes_head=OUTCOMES_HEAD,
        articles_rows=[astuple(article) for article in contents.articles],
        traces_json=[asdict(trace) for trace in contents.traces],
        closures_json=asdict(contents.closures),
        overlay_json=asdict(contents.overlay),
        plot_css=_file("uPlot.min.css"),
        plot_js=_file("uPlot.iife.min.js"),
        own_css=_file("report.css"),
        own_js=_file("report.js"),
    )


def _file(name: str) -> str:
    pages = importlib.resources.files("tautlog.display") / "pages"
    return (pages / name).read_text(encoding="utf-8")
