"""Signature: whether a text names somebody, or says a reason, that can be read."""

from __future__ import annotations

import unicodedata

# Letters to Unicode, and blank to the eye (Unicode 15, Hangul fillers): from memory.
_FILLERS = frozenset("\u115f\u1160\u3164\uffa0")


def signed(text: str | None) -> str:
    """The text without blanks around it; "" where nobody could read a letter or digit in it."""
    shown = unicodedata.normalize("NFKC", text or "")
    if not any(one.isalnum() and one not in _FILLERS for one in shown):
        return ""
    return (text or "").strip()
