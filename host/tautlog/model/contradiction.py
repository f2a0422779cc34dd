"""Contradiction: an impossible report of a board, and what it means for the record."""

from __future__ import annotations

from dataclasses import dataclass

SUSPECT, INVALID = "suspect", "invalid"


# Record verdict that each code leads to.
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
    "block-astray": SUSPECT,
    "block-withheld": SUSPECT,
    "event-given-up": SUSPECT,
    "frame-nonsense": SUSPECT,
    "lost-untold": SUSPECT,
    "clock-jumped": SUSPECT,
    "rails-differ": SUSPECT,
    "converter-differs": INVALID,
}


@dataclass(frozen=True)
class Contradiction:
    """One impossible report: a short code, and plain words.

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
        """Record verdict that it leads to: "suspect" or "invalid"."""
        return SEVERITIES[self.code]
