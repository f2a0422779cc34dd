"""Page: a report as one self-contained HTML file.

The template escapes everything that people typed. A small open library inside the file draws
the curves. The file also holds them as pictures, for print and for readers without scripts.
"""

from __future__ import annotations

import importlib.resources
from dataclasses import asdict
from pathlib import Path

from jinja2 import Environment, StrictUndefined

from tautlog.display.report.contents import Contents
from tautlog.files.new_file import new_file


def write_html(path: Path, contents: Contents) -> None:
    """Write a report to a new HTML file.

    Raises
    ------
    RecordExistsError, RecordError
        If a file of that name exists; if it cannot be written.
    """
    with new_file(path) as draft:
        draft.write_text(html_of(contents), encoding="utf-8")


def html_of(contents: Contents) -> str:
    """The HTML text of a report."""
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    return environment.from_string(_file("report.html")).render(
        vars(contents),
        traces_json=[asdict(trace) for trace in contents.traces],
        closures_json=asdict(contents.closures),
        plot_css=_file("uPlot.min.css"),
        plot_js=_file("uPlot.iife.min.js"),
    )


def _file(name: str) -> str:
    pages = importlib.resources.files("tautlog.display") / "pages"
    return (pages / name).read_text(encoding="utf-8")
