"""Names: what somebody may have meant by a name that nobody knows, or that looks like another."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def meant(name: str, known: Iterable[str]) -> str:
    """The nearest known name and all of them, in words, to go behind a refusal."""
    names = list(known)
    if not names:
        return "there are none"
    folded = {one.casefold(): one for one in names}
    near = difflib.get_close_matches(name.casefold(), folded, 1, 0.5)
    hint = f"did you mean {short(folded[near[0]])}? " if near else ""
    return f"{hint}{'There' if hint else 'there'} are: {', '.join(short(one) for one in names)}"


def alike(name: str, other: str) -> bool:
    """Whether two names differ by capitals and blanks only."""
    return _folded(name) == _folded(other)


def _folded(name: str) -> str:
    return "".join(name.split()).casefold()


def short(value: object, length: int = 60, *, quoted: bool = True) -> str:
    """A value as it was read, on one line and not too long."""
    text = repr(value) if isinstance(value, str) and quoted else str(value)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text if len(text) <= length else text[: length - 3] + "..."
