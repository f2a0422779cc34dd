"""Receiver: blocks from the session to the disk, and word of it back.

A block is acknowledged only after the record was flushed and fsynced. That word
is the heartbeat too: a laptop that cannot store is silent, and a silent laptop
gives no release.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from tautlog.firmware import wire
from tautlog.messages import HeldBlock, Status
from tautlog.session import Session
from tautlog.stream import Block, BoardEvent

# Of the board's time, which is slower than ours on an emulated board, so that it is
# not flooded; and at the latest, by our clock.
HEARTBEAT_S = 0.2
HEARTBEAT_LATEST_S = 0.8  # a board takes 2 s of silence for a doubt
COMMIT_S = 0.12  # of samples: acknowledgements go out several times a second
COMMIT_LATEST_S = 1.0
# An fsync takes a millisecond: no use in doing nothing else.
COMMIT_AGAIN_S = 0.01
ASK_AGAIN_S = 0.3
STALL_S = 0.5  # without a block although the board's status says that there is one


class BlockStore(Protocol):
    """What the receiver needs of a record; `record.RecordWriter` is one."""

    def append(self, block: Block) -> None:
        """Take a block."""

    def add_event(self, event: BoardEvent) -> None:
        """Take an event; one that it has already is ignored."""

    def commit(self) -> object:
        """Return only when everything taken is on disk."""


class Receiver:
    """Feeds a store from a session, in order, without gaps where it can.

    Parameters
    ----------
    session : Session
        The board.
    store : BlockStore
        Where blocks and events go.
    first_block : int
        Number of the first block wanted.
    on_block : callable, optional
        Called with every block after it was taken, to show it; must be quick.

    Attributes
    ----------
    expected : int
        Number of the next block wanted.
    acked : int
        Every block before it is on disk.
    missing_blocks : int
        Blocks that the board no longer held when they were asked for again.
    status : Status or None
        The newest one.
    heard_s : float
        Session clock when anything came last.
    events : list of BoardEvent
        All that came, each once, in order of their numbers as they came.
    """

    def __init__(
        self,
        session: Session,
        store: BlockStore,
        first_block: int,
        on_block: Callable[[Block], None] | None = None,
    ) -> None:
        self._session = session
        self._store = store
        self._on_block = on_block
        self.expected = first_block
        self.acked = first_block
        self.missing_blocks = 0
        self.status: Status | None = None
        self.events: list[BoardEvent] = []
        self._numbers: set[int] = set()
        self._pending = 0
        self._dirty = False
        # Committed often enough that a board's memory never fills.
        board = session.instrument
        enough = math.ceil(COMMIT_S * board.sample_rate_hz / board.samples_per_block)
        self._commit_blocks = max(1, min(board.history_blocks // 4, enough))
        now_s = session.clock()
        self.heard_s = now_s
        self._committed_s = now_s
        self._spoke_s = now_s
        self._progress_s = now_s
        self._spoke_us = 0
        self._asked_again_s = now_s - ASK_AGAIN_S

    def step(self) -> None:
        """Take what arrived, store it, and tell the board."""
        for message in self._session.pump():
            self.heard_s = self._session.clock()
            if isinstance(message, HeldBlock):
                self._take(message)
            elif isinstance(message, BoardEvent):
                self._note(message)
            elif isinstance(message, Status):
                self.status = message
        self._mind_stalls()
        now_s = self._session.clock()
        if now_s - self._committed_s >= self._commit_wait_s():
            self.commit()
        elif self._must_speak(now_s - self._spoke_s):
            self._speak()

    def _mind_stalls(self) -> None:
        """Ask again for a block whose loss no later block will show."""
        if self.status is None or self.status.head <= self.expected:
            self._progress_s = self._session.clock()
        elif self._session.clock() - self._progress_s > STALL_S * max(1.0, self._session.scale):
            self._progress_s = self._session.clock()
            self._ask_again()

    def _commit_wait_s(self) -> float:
        if self._dirty or self._pending >= self._commit_blocks:
            return COMMIT_AGAIN_S
        return COMMIT_LATEST_S if self._pending else math.inf

    def _must_speak(self, silent_s: float) -> bool:
        """Whether a word is due: by the board's clock as its status tells it, or by ours."""
        if silent_s < HEARTBEAT_S or self.status is None:
            return silent_s >= HEARTBEAT_S
        board_us = wire.ticks_elapsed_us(self.status.stamp_us, self._spoke_us)
        return board_us >= HEARTBEAT_S * 0.5e6 or silent_s >= HEARTBEAT_LATEST_S

    def commit(self) -> None:
        """Put everything on disk, then acknowledge it."""
        self._store.commit()
        self.acked = self.expected
        self._pending = 0
        self._dirty = False
        self._committed_s = self._session.clock()
        self._speak()

    def event(self, name: str) -> BoardEvent | None:
        """The first event of that name, or None."""
        return next((one for one in self.events if one.name == name), None)

    def _speak(self, *, again: bool = False) -> None:
        self._session.acknowledge(self.acked, again=again)
        self._spoke_s = self._session.clock()
        if self.status is not None:
            self._spoke_us = self.status.stamp_us

    def _note(self, event: BoardEvent) -> None:
        if event.number in self._numbers:
            return
        self._numbers.add(event.number)
        self.events.append(event)
        self._store.add_event(event)
        self._dirty = True

    def _take(self, held: HeldBlock) -> None:
        number = held.block.number
        if number < self.expected:
            return  # sent again, and already here
        if number > max(self.expected, held.oldest):
            self._ask_again()
            return
        self.missing_blocks += number - self.expected
        self._store.append(held.block)
        self.expected = number + 1
        self._progress_s = self._session.clock()
        self._pending += 1
        if self._on_block is not None:
            self._on_block(held.block)

    def _ask_again(self) -> None:
        """Ask once, then give the board time before asking again."""
        now_s = self._session.clock()
        if now_s - self._asked_again_s < ASK_AGAIN_S:
            return
        self._asked_again_s = now_s
        if self._pending:
            self.commit()
        self._speak(again=True)
