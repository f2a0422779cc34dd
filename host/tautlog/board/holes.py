"""Holes: blocks that did not arrive, and how long to wait for them.

A block lost on the line is requested again, and the board resends from there. A board that
sends later blocks but never that one would be asked forever, so waiting has an end.
"""

from __future__ import annotations

# Limits; common practice. On a line that loses every second frame, one hole in a thousand is
# left after ten repeats.
REPEATS = 10
LEAST_S = 3.0
# For all holes of one recording together; after that the next block is taken as it comes.
ALL_S = 12.0


class Patience:
    """How long to wait for each missing block.

    Parameters
    ----------
    scale : float
        Multiplies the times; for slow or emulated boards.
    """

    def __init__(self, scale: float) -> None:
        self._scale = max(1.0, scale)
        self._number = -1
        self._since_s = 0.0
        self._repeats = 0
        self._lowest = 0
        self._last = 0
        self._spent_s = 0.0

    def misses(self, number: int, came: int, now_s: float) -> None:
        """Note that a block is missing while a later block came or is announced."""
        if number != self._number:
            self._number, self._since_s, self._repeats = number, now_s, 0
            self._lowest, self._last = came, 0
        self._lowest = min(self._lowest, came)

    def asked(self, number: int) -> None:
        """Note that it was requested again, after the earlier request was answered."""
        if number == self._number:
            self._repeats += 1

    def is_over(self, number: int, now_s: float) -> bool:
        """Whether to give up the block."""
        if number != self._number:
            return False
        if self._spent_s >= ALL_S * self._scale:
            return True
        waited_s = now_s - self._since_s
        over = self._repeats >= REPEATS and waited_s >= LEAST_S * self._scale
        if over and not self._last:
            self._last = self._repeats + REPEATS
        return over

    def ends_at(self, came: int) -> bool:
        """Whether a hole ends at a later block: the earliest one that ever came.

        The board sends in order from a block on, so the rest follows it; unless this block is
        lost just as often.
        """
        return came <= self._lowest or 0 < self._last <= self._repeats

    def give_up(self, now_s: float) -> None:
        """Close the hole, and add the time spent on it."""
        self._spent_s += now_s - self._since_s
        self._number = -1
