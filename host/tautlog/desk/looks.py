"""Looks: what was doubtful about an entry, kept until the page that follows it has told it.

An entry is answered by the address of the next page, and an address must hold no text that a
page then shows. So it holds a number, and the text stays here.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from itertools import count

MOST_KEPT = 50


class Looks:
    """Doubts by number; the oldest go first."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, tuple[str, ...]] = OrderedDict()
        self._numbers = count(1)
        self._lock = threading.Lock()

    def keep(self, texts: tuple[str, ...]) -> str:
        """Keep what was doubtful; its number."""
        with self._lock:
            number = str(next(self._numbers))
            self._kept[number] = texts
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return number

    def told(self, number: str) -> tuple[str, ...]:
        """What was doubtful; nothing if there is no such number."""
        with self._lock:
            return self._kept.get(number, ())
