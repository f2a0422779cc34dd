"""Reception: what the laptop observed while receiving that no block and no event holds.

The receiver notes it, the record keeps it, and `contradictions` judges it with the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

BY_DRIVE, BY_HAND = "drive", "hand"
MOST_NAMED = 20  # blocks that are listed by number


@dataclass
class Reception:
    """Observations; they grow while a record is written.

    Attributes
    ----------
    by : str
        How the sled was to be released: "drive" or "hand"; "" if not known.
    release_sent : bool or None
        The laptop asked for the release; None if not known.
    states : list of str
        Impossible states that the board reported, in words.
    changed_blocks : list of int
        Blocks that came again with other samples; at most `MOST_NAMED`.
    reflagged_blocks : list of int
        Blocks that came again with other flags, losses or stamps; at most `MOST_NAMED`.
    misfit_blocks : int
        Blocks that came whole but do not fit the board's greeting.
    nonsense_frames : int
        Frames that came whole but make no sense.
    astray_blocks : int
        Blocks, and numbers of blocks in a status, so far ahead that the board cannot have made
        them.
    given_up_blocks : int
        Blocks that the board did not send again on request.
    lost_conversions : int
        Conversions that the board's status counts as lost over the received blocks.
    """

    by: str = ""
    release_sent: bool | None = None
    states: list[str] = field(default_factory=list)
    changed_blocks: list[int] = field(default_factory=list)
    reflagged_blocks: list[int] = field(default_factory=list)
    misfit_blocks: int = 0
    nonsense_frames: int = 0
    astray_blocks: int = 0
    given_up_blocks: int = 0
    lost_conversions: int = 0

    def as_json(self) -> dict[str, object]:
        """The object that the record keeps; empty fields are left out."""
        # Called at every commit: `asdict` would leave garbage to collect.
        kept = {name: value for name, value in vars(self).items() if value}
        if self.release_sent is not None:
            kept["release_sent"] = self.release_sent
        return kept

    def note_state(self, text: str) -> None:
        """Note an impossible state, once."""
        if text not in self.states:
            self.states.append(text)

    def note_again(self, number: int, *, samples_differ: bool) -> None:
        """Note a block that came again and differs."""
        blocks = self.changed_blocks if samples_differ else self.reflagged_blocks
        if number not in blocks and len(blocks) < MOST_NAMED:
            blocks.append(number)


def reception_in(content: Mapping[str, Any]) -> Reception:
    """The reception in a record; fields of a later program are left out.

    Raises
    ------
    ValueError, TypeError
        If it is damaged.
    """
    known = {part.name for part in fields(Reception)}
    seen = Reception(**{name: value for name, value in content.items() if name in known})
    lists = (seen.states, seen.changed_blocks, seen.reflagged_blocks)
    counts = (
        seen.misfit_blocks,
        seen.nonsense_frames,
        seen.astray_blocks,
        seen.given_up_blocks,
        seen.lost_conversions,
    )
    if not all(isinstance(part, list) for part in lists):
        raise ValueError("`reception_json` has a field that should be a list")
    if not all(isinstance(part, int) and part >= 0 for part in counts):
        raise ValueError("`reception_json` has a field that should be a count")
    return seen
