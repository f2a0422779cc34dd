"""Signature: whether a text is a readable name or reason."""

from __future__ import annotations

import unicodedata

# Letters in Unicode, but blank to the eye (Unicode 15, Hangul fillers): from memory.
_FILLERS = frozenset("\u115f\u1160\u3164\uffa0")


def signed(text: str | None) -> str:
    """The text without blanks around it; "" if it has no visible letter or digit."""
    shown = unicodedata.normalize("NFKC", text or "")
    if not any(letter.isalnum() and letter not in _FILLERS for letter in shown):
        return ""
    return (text or "").strip()
