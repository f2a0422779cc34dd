"""Image: a picture as a file, or as a drawing that stands in a page."""

from __future__ import annotations

import io
import re
from html import escape
from pathlib import Path

import matplotlib
from matplotlib.figure import Figure

from tautlog.errors import RecordError
from tautlog.files.new_file import new_file

DOTS_PER_INCH = 130
_NOT_SAID = {"Date": None, "Creator": None, "Format": None, "Type": None}


def fonts_folder() -> Path:
    """Where the letters lie that pictures are written in."""
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def save(figure: Figure, path: Path) -> None:
    """Write a picture to a new file, in the format of its ending.

    Raises
    ------
    RecordExistsError
        If the file exists.
    RecordError
        If it cannot be written, or the ending names no picture format.
    """
    # In memory first: not every format of the library bears a disk that refuses.
    drawn = io.BytesIO()
    with new_file(path) as draft:
        try:
            figure.savefig(drawn, dpi=DOTS_PER_INCH, format=path.suffix[1:] or "none")
        except ValueError as problem:
            raise RecordError(f"{path} cannot be written: {problem}", path=str(path)) from problem
        draft.write_bytes(drawn.getvalue())


def svg_of(figure: Figure, told: str) -> str:
    """A picture as an element of HTML, which says in words what it shows.

    Letters are drawn: no reader and no paper needs their font.
    """
    drawn = io.StringIO()
    # Names of parts come from what they are: the same in every run.
    with matplotlib.rc_context({"svg.fonttype": "path", "svg.hashsalt": "tautlog"}):
        figure.savefig(drawn, format="svg", metadata=_NOT_SAID)
    text = drawn.getvalue()
    body = text[text.index("<svg") :]
    # What the library says in a style sheet would count for the whole page.
    body = re.sub(r"<style.*?</style>|<metadata.*?</metadata>|<!--.*?-->", "", body, flags=re.S)
    # A hundredth of a point is finer than any printer.
    body = re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d\d)\d+", r"\1", path[0]), body)
    head = f'role="img" aria-label="{escape(told)}" style="stroke-linejoin:round"'
    return body.replace("<svg", f"<svg {head}", 1)
