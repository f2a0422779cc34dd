"""Names: what somebody may have meant by a name that nobody knows, or that looks like another."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from tautlog.campaign.schema import short


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
