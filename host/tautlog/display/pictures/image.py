"""Image: a picture as a file, or as an SVG element in a page."""

from __future__ import annotations

import io
import re
from html import escape
from pathlib import Path

import matplotlib
from matplotlib.figure import Figure
from matplotlib.text import Text

from tautlog.errors import RecordError
from tautlog.files.new_file import new_file
from tautlog.model.printable import printable

DOTS_PER_INCH = 130
_NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}


def fonts_folder() -> Path:
    """The folder with the fonts of the pictures."""
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def save(figure: Figure, path: Path) -> None:
    """Write a picture to a new file, in the format of its suffix.

    Raises
    ------
    RecordExistsError
        If the file exists.
    RecordError
        If the file cannot be written, or its suffix names no picture format.
    """
    _show_what_is_seen(figure)
    # In memory first: not every format of the library survives a failing disk.
    drawn = io.BytesIO()
    with new_file(path) as draft:
        try:
            figure.savefig(drawn, dpi=DOTS_PER_INCH, format=path.suffix[1:] or "none")
        except ValueError as problem:
            raise RecordError(f"{path} cannot be written: {problem}", path=str(path)) from problem
        draft.write_bytes(drawn.getvalue())


def _show_what_is_seen(figure: Figure) -> None:
    """Replace what no font shows: the library warns of it, with the sign itself, on a terminal."""
    for text in figure.findobj(Text):
        text.set_text("\n".join(map(printable, text.get_text().split("\n"))))


def svg_of(figure: Figure, caption: str) -> str:
    """A picture as an SVG element with a caption for screen readers.

    Letters are drawn as paths, so no font is needed to show them.
    """
    _show_what_is_seen(figure)
    drawn = io.StringIO()
    # A fixed salt gives parts the same names in every run.
    with matplotlib.rc_context({"svg.fonttype": "path", "svg.hashsalt": "tautlog"}):
        figure.savefig(drawn, format="svg", metadata=_NO_METADATA)
    text = drawn.getvalue()
    body = text[text.index("<svg") :]
    # The library's style sheet would apply to the whole page.
    body = re.sub(r"<style.*?</style>|<metadata.*?</metadata>|<!--.*?-->", "", body, flags=re.S)
    # A hundredth of a point is finer than any printer.
    body = re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d\d)\d+", r"\1", path[0]), body)
    head = f'role="img" aria-label="{escape(caption)}" style="stroke-linejoin:round"'
    return body.replace("<svg", f"<svg {head}", 1)
