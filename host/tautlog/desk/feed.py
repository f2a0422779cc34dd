"""Feed: what happens, told to every open page as it happens.

One way only, from the desk to its pages (server-sent events). A page that reads nothing holds
nobody up: it loses the oldest of what waits for it, and is told so by the numbers. Whoever comes
back asks the pages anew for where things stand; the feed keeps no history.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import threading
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

WAITING = 256  # events that wait for a slow page
SIGN_OF_LIFE_S = 10.0


@dataclass(eq=False)
class _Reader:
    loop: asyncio.AbstractEventLoop
    ready: asyncio.Event = field(default_factory=asyncio.Event)
    waiting: deque[str] = field(default_factory=lambda: deque(maxlen=WAITING))


class Feed:
    """Events for all open pages; any thread may tell one, and never waits."""

    def __init__(self) -> None:
        self._readers: set[_Reader] = set()
        self._guard = threading.Lock()
        self._numbers = itertools.count(1)
        self._closed = False

    def tell(self, kind: str, content: object) -> None:
        """Tell all open pages."""
        with self._guard:
            text = f"id: {next(self._numbers)}\nevent: {kind}\ndata: {json.dumps(content)}\n\n"
            for reader in self._readers:
                reader.waiting.append(text)
                with contextlib.suppress(RuntimeError):  # its loop has ended, and so has its page
                    reader.loop.call_soon_threadsafe(reader.ready.set)

    def close(self) -> None:
        """Let all pages go: the desk ends."""
        with self._guard:
            self._closed = True
            for reader in self._readers:
                with contextlib.suppress(RuntimeError):
                    reader.loop.call_soon_threadsafe(reader.ready.set)

    @property
    def readers(self) -> int:
        """How many pages listen."""
        return len(self._readers)

    async def listen(self) -> AsyncIterator[str]:
        """Events from now on, as text for one page; a comment now and then if there are none."""
        reader = _Reader(asyncio.get_running_loop())
        with self._guard:
            self._readers.add(reader)
        try:
            yield ": here\n\n"
            while not self._closed:
                try:
                    await asyncio.wait_for(reader.ready.wait(), SIGN_OF_LIFE_S)
                except TimeoutError:
                    yield ": alive\n\n"
                    continue
                reader.ready.clear()
                while reader.waiting:
                    yield reader.waiting.popleft()
        finally:
            with self._guard:
                self._readers.discard(reader)
