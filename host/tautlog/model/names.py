"""Names: which known name an unknown name may mean, and names that look alike."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from tautlog.model.printable import printable


def meant(name: str, known: Iterable[str]) -> str:
    """The nearest known name, and all known names, in words, to follow a refusal."""
    names = list(known)
    if not names:
        return "there are none"
    folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(name.casefold(), folded, 1, 0.5)
    hint = f"did you mean {short(folded[near[0]])}? " if near else ""
    return f"{hint}{'There' if hint else 'there'} are: {', '.join(short(name) for name in names)}"


def alike(name: str, other: str) -> bool:
    """Whether two names differ only in capitals and blanks."""
    return folded(name) == folded(other)


def folded(name: str) -> str:
    """A name without capitals and blanks: of names that are alike it is the same."""
    return "".join(name.split()).casefold()


def short(value: object, length: int = 60, *, quoted: bool = True) -> str:
    """A value as it was read, on one line, shortened, and with nothing that moves a terminal."""
    text = printable(repr(value) if isinstance(value, str) and quoted else str(value))
    return text if len(text) <= length else text[: length - 3] + "..."
