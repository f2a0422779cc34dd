"""Receiver: takes blocks from the session to the disk, and acknowledges them.

A block is acknowledged only after the record was flushed and fsynced. The acknowledgement is
also the heartbeat: a laptop that cannot store is silent, and a silent laptop gets no release.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from typing import Protocol

from tautlog.analysis.contradictions import events_lacking
from tautlog.board.holes import Patience
from tautlog.board.messages import HeldBlock, Status
from tautlog.board.session import Session
from tautlog.firmware import wire
from tautlog.model.reception import Reception
from tautlog.model.stream import Block, BoardEvent

# On the board's clock, so that an emulated, slower board is not flooded; and the latest time
# on the laptop's clock.
HEARTBEAT_S = 0.2
HEARTBEAT_LATEST_S = 0.8  # a board doubts the laptop after 2 s of silence
COMMIT_S = 0.12  # of samples: acknowledgements go out several times a second
COMMIT_LATEST_S = 1.0
# An fsync takes a millisecond: leave time for other work.
COMMIT_AGAIN_S = 0.01
ASK_AGAIN_S = 0.3
STALL_S = 0.5  # without a block although the board's status announces one
MOST_SAMPLES = 1 << 28  # of a record: a block beyond is not of this recording
MOST_EVENTS = 1024  # ten times what a board's list holds; a flood of them is not kept
# On the board's clock after the release: its status may be older than its event.
STILL_ARMED_US = 500_000


class BlockStore(Protocol):
    """A record, as the receiver uses it; `record.RecordWriter` is one."""

    def append(self, block: Block) -> None:
        """Take a block."""

    def add_event(self, event: BoardEvent) -> None:
        """Take an event; ignore one that it has already."""

    def commit(self) -> object:
        """Return only when everything taken is on disk."""


class Receiver:
    """Feeds a store from a session, in order, if possible without gaps.

    Parameters
    ----------
    session : Session
        The board.
    store : BlockStore
        Takes the blocks and events.
    first_block : int
        Number of the first block wanted.
    on_block : callable, optional
        Called with every block taken, to show it; must be quick.
    reception : Reception, optional
        Takes observations that no block holds; default: a new one.

    Attributes
    ----------
    expected : int
        Number of the next block wanted.
    acked : int
        Every block before it is on disk.
    missing_blocks : int
        Blocks that the board no longer held, or never sent, when requested again.
    reception : Reception
        What was seen of the board besides blocks and events.
    progress_s : float
        Session clock when `expected` last changed, by a block or by giving one up.
    came_s : float
        Session clock when a block was last taken.
    status : Status or None
        The newest status.
    heard_s : float
        Session clock when the last message came.
    events : list of BoardEvent
        All events, each once, in the order in which they came.
    """

    def __init__(
        self,
        session: Session,
        store: BlockStore,
        first_block: int,
        on_block: Callable[[Block], None] | None = None,
        reception: Reception | None = None,
    ) -> None:
        self._session = session
        self._store = store
        self._on_block = on_block
        self.expected = first_block
        self.acked = first_block
        self.missing_blocks = 0
        self.status: Status | None = None
        self.events: list[BoardEvent] = []
        self.reception = Reception() if reception is None else reception
        self._numbers: set[int] = set()
        self._first = first_block
        self._prints: dict[int, tuple[int, int]] = {}
        self._patience = Patience(session.scale)
        self._nonsense = session.nonsense - self.reception.nonsense_frames
        self._lost_before: int | None = None
        self._status_is_new = self._later_came = False
        self._pending = 0
        self._dirty = False
        # Commit often enough that the board's memory never fills.
        board = session.instrument
        enough = math.ceil(COMMIT_S * board.sample_rate_hz / board.samples_per_block)
        self._commit_blocks = max(1, min(board.history_blocks // 4, enough))
        now_s = session.clock()
        self.heard_s = now_s
        self._committed_s = now_s
        self._spoke_s = now_s
        self.progress_s = self.came_s = self._stalled_s = now_s
        self._spoke_us = 0
        self._asked_again_s = now_s - ASK_AGAIN_S

    def step(self) -> None:
        """Take what arrived, store it, and acknowledge it."""
        for message in self._session.pump():
            self.heard_s = self._session.clock()
            if isinstance(message, HeldBlock):
                self._take(message)
            elif isinstance(message, BoardEvent):
                self._note(message)
            elif isinstance(message, Status):
                self._hear(message)
        self.reception.nonsense_frames = self._session.nonsense - self._nonsense
        self._mind_stalls()
        now_s = self._session.clock()
        if now_s - self._committed_s >= self._commit_wait_s():
            self.commit()
        elif self._must_speak(now_s - self._spoke_s):
            self._speak()

    def _hear(self, status: Status) -> None:
        """Take a status, and note a state that cannot be true."""
        self.status = status
        self._status_is_new = True
        if status.head > self.expected + self._session.instrument.most_jump:
            self.reception.astray_blocks += 1
        if self._lost_before is None:
            self._lost_before = status.lost
        if self.expected >= status.head:  # all its blocks are here
            self.reception.lost_conversions = max(status.lost - self._lost_before, 0)
        opened = self.event("release-opened") or self.event("release-by-force")
        if opened is None or status.state in ("recording", "held"):
            return
        since_us = wire.ticks_elapsed_us(status.stamp_us, opened.stamp_us)
        if status.state == "safe" or since_us > STILL_ARMED_US:
            self.reception.note_state(f"{status.state} while it was recording")

    def _mind_stalls(self) -> None:
        """Request a missing block again if no later block shows its loss."""
        now_s, board = self._session.clock(), self._session.instrument
        ahead = 0 if self.status is None else self.status.head - self.expected
        if self.status is None or not 0 < ahead <= board.most_jump:
            self._stalled_s = now_s
            return
        if now_s - self._stalled_s <= STALL_S * max(1.0, self._session.scale):
            return
        self._stalled_s = now_s
        self._patience.misses(self.expected, self.status.head, now_s)
        over = self._patience.is_over(self.expected, now_s)
        # A block that comes on request ends the hole, see `_take`.
        if over and self._status_is_new and not self._later_came:
            self._give_up(self.status.head)
            return
        if self._ask_again():
            if self._status_is_new:
                self._patience.asked(self.expected)
            self._later_came = False
        self._status_is_new = False

    def _commit_wait_s(self) -> float:
        if self._dirty or self._pending >= self._commit_blocks:
            return COMMIT_AGAIN_S
        return COMMIT_LATEST_S if self._pending else math.inf

    def _must_speak(self, silent_s: float) -> bool:
        """Whether a heartbeat is due, on the board's clock or on the laptop's."""
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
        return next((event for event in self.events if event.name == name), None)

    def _speak(self, *, again: bool = False) -> None:
        self._session.acknowledge(self.acked, again=again)
        self._spoke_s = self._session.clock()
        if self.status is not None:
            self._spoke_us = self.status.stamp_us

    def _note(self, event: BoardEvent) -> None:
        if event.number in self._numbers or len(self._numbers) >= MOST_EVENTS:
            return
        self._numbers.add(event.number)
        self.events.append(event)
        self._store.add_event(event)
        self._dirty = True

    def _take(self, held: HeldBlock) -> None:
        block, number = held.block, held.block.number
        if number > self.expected + self._session.instrument.most_jump:
            self.reception.astray_blocks += 1
            return
        if not self._fits(block):
            self.reception.misfit_blocks += 1
            return
        if number < self.expected:
            self._compare(block)  # sent again, and already here
            return
        if number > max(self.expected, held.oldest):
            now_s = self._stalled_s = self._session.clock()  # blocks come: this is no stall
            self._later_came = True
            self._patience.misses(self.expected, number, now_s)
            over = self._patience.is_over(self.expected, now_s)
            if not (over and self._patience.ends_at(number)):
                if self._ask_again():
                    self._patience.asked(self.expected)
                return
            self._give_up(number)
        self.missing_blocks += number - self.expected
        self._store.append(block)
        self._remember(block)
        self._go_on_at(number + 1)
        self.came_s = self.progress_s
        self._pending += 1
        if self._on_block is not None:
            self._on_block(block)

    def _fits(self, block: Block) -> bool:
        """Whether it is a block of the board that greeted, and of this recording."""
        board = self._session.instrument
        rows, channels = block.counts.shape
        return (
            channels == len(board.channels)
            and rows <= board.samples_per_block
            and (block.number - self._first) * board.samples_per_block < MOST_SAMPLES
        )

    def _go_on_at(self, number: int) -> None:
        self.expected = number
        self.progress_s = self._stalled_s = self._session.clock()

    def _give_up(self, number: int) -> None:
        """Give up a hole: the data after it is worth more than waiting."""
        self._patience.give_up(self._session.clock())
        lost = number - self.expected
        self.reception.given_up_blocks += lost
        self.missing_blocks += lost
        self._go_on_at(number)

    def _remember(self, block: Block) -> None:
        """Keep checksums of a block, as long as the board may send it again."""
        self._prints[block.number] = _print_of(block)
        self._prints.pop(block.number - 2 * self._session.instrument.history_blocks, None)

    def _compare(self, block: Block) -> None:
        before, now = self._prints.get(block.number), _print_of(block)
        if before is not None and before != now:
            self.reception.note_again(block.number, samples_differ=before[0] != now[0])
            self._dirty = True

    def events_lacking(self) -> bool:
        """Whether the board has events that did not arrive; a damaged frame is not resent."""
        return events_lacking(self.events)

    def _ask_again(self) -> bool:
        """Request the missing block again, not too often; return whether it was requested."""
        now_s = self._session.clock()
        if now_s - self._asked_again_s < ASK_AGAIN_S:
            return False
        self._asked_again_s = now_s
        if self._pending:
            self.commit()
        self._speak(again=True)
        return True


def _print_of(block: Block) -> tuple[int, int]:
    """Checksums of the samples, and of the block's other values."""
    others = f"{block.stamp_us} {block.flags} {block.lost}"
    return zlib.crc32(block.counts.tobytes()), zlib.crc32(others.encode())
