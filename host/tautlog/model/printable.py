"""Printable: text from outside, so that it cannot move the terminal that shows it."""

from __future__ import annotations

REPLACED = "\ufffd"


def printable(text: str) -> str:
    """A line of text in which every sign that is not seen is replaced.

    Controls (C0 and C1, among them escape), separators of lines, signs of writing direction,
    signs without width and halves of surrogate pairs: Unicode's categories C and Z without the
    blank, as `str.isprintable` has them.
    """
    return "".join(sign if sign.isprintable() else REPLACED for sign in text)
