"""Contradiction: one thing that a board told and that cannot be, and what it makes of a record."""

from __future__ import annotations

from dataclasses import dataclass

SUSPECT, INVALID = "suspect", "invalid"


# What each of them makes of a record.
SEVERITIES = {
    "unasked-release": SUSPECT,
    "not-armed": SUSPECT,
    "told-twice": SUSPECT,
    "release-misplaced": SUSPECT,
    "switch-reclosed": SUSPECT,
    "event-outside": SUSPECT,
    "events-missing": SUSPECT,
    "wrong-order": SUSPECT,
    "state-impossible": SUSPECT,
    "block-changed": INVALID,
    "block-reflagged": SUSPECT,
    "block-misfit": SUSPECT,
    "block-withheld": SUSPECT,
    "frame-nonsense": SUSPECT,
    "lost-untold": SUSPECT,
    "clock-jumped": SUSPECT,
    "rails-differ": SUSPECT,
}


@dataclass(frozen=True)
class Contradiction:
    """One thing that cannot be: a short code, and plain words.

    Attributes
    ----------
    code : str
        One of SEVERITIES.
    text : str
        What was seen, and what was expected.
    """

    code: str
    text: str

    @property
    def severity(self) -> str:
        """What it makes of a record: "suspect" or "invalid"."""
        return SEVERITIES[self.code]
