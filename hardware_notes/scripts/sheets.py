"""The sheets as text: figures that are named, numbers without a source, tables that are made."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from figures import FIGURES

NOTES = Path(__file__).resolve().parents[1]
SHEETS = sorted(NOTES.glob("*.md"))
NAMED = re.compile(r"<!--=([\w.]+)-->")
MADE = re.compile(r"(<!--made: ([\w -]+)-->\n).*?(<!--end-->)", re.DOTALL)
UNITS = (
    r"(?:[kMmuµnp]?(?:N|V|A|W|F|H|J|s|m|g|Hz|Pa)|[kM]?(?:ohm|Ω|S/s|B/s)|kilohm|megohm"
    r"|microfarad|nanofarad|dB|%|ppm|°C|Nm|N m|kN/m|MN/m|N/mm²?|kg/m3|m/s2?|mV/V|bit|bits|steps?)"
)
NUMBER = re.compile(rf"(?<![\w.#])[\u2212-]?\d[\d .,]*\s?{UNITS}(?![\w])")
# A number's source: a source's number, a computed figure, or the words that say what it is.
SOURCE = re.compile(
    r"\[S\d+\]|<!--=|common practice|from memory|own choice|own simulation|own estimate"
    r"|data sheet|closed form|config\.py|emulated|as delivered|measured"
)


def wrong_figures(text: str) -> Iterator[str]:
    """Tell each named figure whose number is not what its function gives."""
    for match in NAMED.finditer(text):
        if match[1] not in FIGURES:
            yield f"{match[1]}: no such figure"
            continue
        wanted = FIGURES[match[1]].text
        start = max(0, match.start() - len(wanted))
        seen = text[start : match.start()].replace("\n", " ")
        more = re.search(r"[\d.,\-\u2212]\Z", text[:start])  # another digit, or a sign, before it
        if seen != wanted or more:
            seen = (more[0] if more else "") + seen
            yield f"{match[1]}: the sheet says {seen!r}, reckoned is {wanted!r}"


def paragraphs(text: str) -> Iterator[str]:
    """Paragraphs, list items and rows of tables; no code, no headings, no comments alone."""
    text = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    for block in re.split(r"\n\s*\n", text):
        for item in re.split(r"\n(?=\s*(?:[-*|]|\d+\.) ?)", block):
            if item.strip() and not item.lstrip().startswith("#"):
                yield item.strip()


def unsourced(text: str) -> Iterator[str]:
    """Tell each paragraph that has a number with a unit and no word on where it is from."""
    for item in paragraphs(text):
        if NUMBER.search(item) and not SOURCE.search(" ".join(item.split())):
            yield f"{NUMBER.search(item)[0]!r} has no source: {' '.join(item.split())[:100]}"


def with_tables(text: str, tables: dict[str, str]) -> str:
    """The sheet with each made table in its place.

    Parameters
    ----------
    text : str
        With places like ``<!--made: pins-->`` and ``<!--end-->``, each on a line of its own.
    tables : dict of str to str
        Markdown by name.

    Raises
    ------
    KeyError
        A place names a table that nobody makes.
    """
    return MADE.sub(lambda match: f"{match[1]}{tables[match[2]].strip()}\n{match[3]}", text)
