"""Reception: what the laptop saw of a board's conversation that no block and no event holds.

The receiver notes it, the record keeps it, and `contradictions` judges it with the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

BY_DRIVE, BY_HAND = "drive", "hand"
MOST_NAMED = 20  # blocks that are named one by one; the rest is counted


@dataclass
class Reception:
    """What was seen; it grows while a record is written.

    Attributes
    ----------
    by : str
        What was to release: "drive" or "hand"; "" where nobody knows.
    release_sent : bool or None
        The laptop asked for the release; None where nobody knows.
    states : list of str
        States that the board's status told and that cannot be, in words.
    changed_blocks : list of int
        Blocks that came again with other samples; at most `MOST_NAMED`.
    reflagged_blocks : list of int
        Blocks that came again with other flags, losses or stamps; likewise.
    misfit_blocks : int
        Blocks that came whole and do not fit what the board said of itself.
    nonsense_frames : int
        Frames that came whole and make no sense.
    given_up_blocks : int
        Blocks that the board never sent again although it was asked.
    lost_conversions : int
        Conversions that the board's status counts as lost over the blocks that came.
    """

    by: str = ""
    release_sent: bool | None = None
    states: list[str] = field(default_factory=list)
    changed_blocks: list[int] = field(default_factory=list)
    reflagged_blocks: list[int] = field(default_factory=list)
    misfit_blocks: int = 0
    nonsense_frames: int = 0
    given_up_blocks: int = 0
    lost_conversions: int = 0

    def told(self) -> dict[str, object]:
        """As it goes into the record; what is empty is left out."""
        # Asked at every commit: `asdict` leaves rubbish to be collected.
        told = {name: one for name, one in vars(self).items() if one}
        if self.release_sent is not None:
            told["release_sent"] = self.release_sent
        return told

    def note_state(self, text: str) -> None:
        """Keep a state that cannot be, once."""
        if text not in self.states:
            self.states.append(text)

    def note_again(self, number: int, *, samples_differ: bool) -> None:
        """Keep a block that came again and is not what it was."""
        told = self.changed_blocks if samples_differ else self.reflagged_blocks
        if number not in told and len(told) < MOST_NAMED:
            told.append(number)


def reception_in(told: Mapping[str, Any]) -> Reception:
    """Read what a record holds; fields of a later program are left out.

    Raises
    ------
    ValueError, TypeError
        If it is damaged.
    """
    known = {one.name for one in fields(Reception)}
    seen = Reception(**{name: value for name, value in told.items() if name in known})
    lists = (seen.states, seen.changed_blocks, seen.reflagged_blocks)
    counts = (
        seen.misfit_blocks,
        seen.nonsense_frames,
        seen.given_up_blocks,
        seen.lost_conversions,
    )
    if not all(isinstance(one, list) for one in lists):
        raise ValueError("`reception_json` has a list that is none")
    if not all(isinstance(one, int) and one >= 0 for one in counts):
        raise ValueError("`reception_json` has a count that is none")
    return seen
