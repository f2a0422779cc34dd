"""Holes: blocks that did not come, and how long they are waited for.

A block that is lost on the line is asked for again, and the board sends from it on. A board
that sends what lies behind it and never itself would be asked for ever: a hole has an end.
"""

from __future__ import annotations

# Limits of patience; common practice. Of a line that loses every second frame one hole in a
# thousand is left after ten repeats.
REPEATS = 10
LEAST_S = 3.0
# For all holes of one recording: behind it the next one is taken as it comes.
ALL_S = 12.0


class Patience:
    """How long one block after the other is waited for.

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
        """Note that a block is lacking, and that a later one came, or is said to be there."""
        if number != self._number:
            self._number, self._since_s, self._repeats = number, now_s, 0
            self._lowest, self._last = came, 0
        self._lowest = min(self._lowest, came)

    def asked(self, number: int) -> None:
        """Note that it was asked for again, and that what was asked before is answered."""
        if number == self._number:
            self._repeats += 1

    def is_over(self, number: int, now_s: float) -> bool:
        """Whether the block is given up."""
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
        """Whether a hole that is given up ends at a later block: the first that ever comes.

        The others come again behind it, as the board sends from a block on; unless it is
        lost itself as often again.
        """
        return came <= self._lowest or 0 < self._last <= self._repeats

    def give_up(self, now_s: float) -> None:
        """Close the hole, and count what was waited for it."""
        self._spent_s += now_s - self._since_s
        self._number = -1
