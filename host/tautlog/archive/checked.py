"""Checked: what verifying one file of a campaign found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Checked:
    """The result for one file, or for one place in a chain.

    Attributes
    ----------
    path : Path
        The file.
    state : str
        "intact"; "unfinished", never sealed; "broken", changed since it was sealed or kept;
        "unreadable"; "missing" or "swapped", by the chain; "added", not in the chain although it
        must be; "unchained", not in the chain, which may be; "doubtful", as it was kept, but with
        something that a reader has to know; "unchecked", which needs a library.
    text : str
        The difference, in plain words.
    links_not_signed : int or None
        Of a chain that was held against a public key: links that no signature of it covers.
    """

    path: Path
    state: str
    text: str
    links_not_signed: int | None = None

    @property
    def differs(self) -> bool:
        """Whether something is wrong with it."""
        return self.state not in ("intact", "unfinished", "unchained", "unchecked", "doubtful")
