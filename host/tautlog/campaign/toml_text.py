"""TOML text: the text of a campaign.toml, refused before it is parsed if that would take long.

Parsing is not linear in everything: a key of thousands of parts, or a hundred thousand keys that
are all mistakes, would keep a command busy for minutes.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from tautlog.files.ordinary import read_ordinary

# Own choices: a new file has some 400 lines and 17 kB.
MOST_BYTES = 1 << 20
MOST_LINES = 10_000
MOST_PARTS = 16  # of a dotted key; the format has two
_LONG_KEY = re.compile(rf"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}")


def read_text(path: Path) -> str:
    """The text of a campaign.toml, with an end of its last line.

    Raises
    ------
    OSError
        If it cannot be read, or is too large.
    UnicodeDecodeError
        If it is not UTF-8.
    """
    return read_ordinary(path, MOST_BYTES).decode("utf-8-sig") + "\n"


def parsed(text: str) -> dict[str, Any]:
    """The content of a TOML text.

    Raises
    ------
    ValueError
        If it is not valid TOML, or larger than a campaign can be; it says what was seen, and the
        limit.
    RecursionError
        If it is nested without end.
    """
    lines = text.count("\n")
    if lines > MOST_LINES:
        raise ValueError(f"it has {lines} lines, at most {MOST_LINES} are read")
    long = _LONG_KEY.search(text)
    if long is not None:
        line = text.count("\n", 0, long.start()) + 1
        raise ValueError(f"a key of more than {MOST_PARTS} parts (at line {line})")
    return tomllib.loads(text)
