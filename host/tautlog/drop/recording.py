"""Recording: the part of a drop after the release, until its event is on disk.

Only the user can end it early: a failure of the display no longer matters.
"""

from __future__ import annotations

import contextlib

from tautlog.board.session import Session
from tautlog.drop.keeping import Left
from tautlog.drop.watch import Watch
from tautlog.errors import BoardError, LinkTimeoutError
from tautlog.firmware import wire

ENDING_S = 6.0  # longest wait for the board to end a recording and send the rest
# A board samples at its own pace: the data of a time comes within so many times that time, and
# what a bad line adds. Whatever it says, nothing is waited for longer; own choice.
SLOWEST = 2.0
LATE_S = 12.0  # see `holes.ALL_S`
# A release event is at most this far from the blocks received: the board sends it before the
# next block, and a stalled line may hold some back.
BEFORE_BLOCKS_S, BEHIND_BLOCKS_S = 0.5, 2.0
AGAIN_S = 1.0  # longest wait for events that are sent again


def latest(session: Session, lasts_s: float) -> float:
    """The session time at which data of so many seconds must have come; nothing waits longer."""
    scale = session.scale
    return session.clock() + SLOWEST * lasts_s * max(1.0, scale) + LATE_S * scale


class Recording:
    """A recording board, until all its data has come.

    Parameters
    ----------
    watch : Watch
        The drop.
    """

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._session = watch.session
        self._crew = watch.crew
        self._stop = watch.stop
        self._receiver = watch.receiver
        self._told_more = self._stop.more + 1
        self._woken = False

    def record(self) -> None:
        """Take the data for the planned time, or until the user ends it."""
        instrument = self._session.instrument
        wanted = self._watch.plan.record_s * instrument.sample_rate_hz
        start = self._start()
        deadline = self._latest(self._watch.plan.record_s)
        while not self._stop.asked:
            self._step()
            come = self._receiver.expected * instrument.samples_per_block - start
            if come >= wanted or self._receiver.event("recording-ended") is not None:
                break
            self._crew.received(come / instrument.sample_rate_hz, self._watch.plan.record_s)
            if silent := self._watch.fallen_silent():
                if not self._goes_on():
                    raise LinkTimeoutError(silent)
                deadline = self._latest(self._watch.plan.record_s)
            if self._session.clock() > deadline:
                raise LinkTimeoutError(
                    f"the board sends too slowly: {come / instrument.sample_rate_hz:.2f} s of "
                    f"{self._watch.plan.record_s:g} s came in time"
                )

    def _latest(self, board_s: float) -> float:
        """The session time at which so much of the board's time must have come."""
        return latest(self._session, board_s / self._watch.plan.speed)

    def _start(self) -> int:
        """Start of the recording: the sample of the release, if that is plausible."""
        opened, board = self._watch.released(), self._session.instrument
        assert opened is not None
        here = self._receiver.expected * board.samples_per_block
        first = here - round(BEFORE_BLOCKS_S * board.sample_rate_hz)
        last = here + round(BEHIND_BLOCKS_S * board.sample_rate_hz)
        return min(max(opened.sample_index, first), last)

    def _step(self) -> None:
        self._receiver.step()
        if self._stop.left:
            raise Left
        if self._stop.asked and self._stop.more < self._told_more:
            self._told_more = self._stop.more
            self._crew.ending(self._told_more)

    def end(self) -> None:
        """Let the board end the recording, and fetch the rest."""
        self._session.send(wire.ABORT if self._stop.asked else wire.FINISH)
        started_s = self._session.clock()
        board = self._session.instrument
        memory_s = board.history_blocks * board.samples_per_block / board.sample_rate_hz
        deadline = self._latest(max(board.guard_after_s, memory_s))
        while not self._is_all_here():
            self._step()
            # A hole has its own waiting time, see `holes`.
            since_s = max(started_s, self._receiver.progress_s)
            if self._session.clock() > min(since_s + ENDING_S * self._session.scale, deadline):
                if not self._goes_on():
                    raise LinkTimeoutError("the board did not end the recording in time")
                started_s, deadline = self._session.clock(), self._latest(memory_s)
        self._ask_for_events()
        self._receiver.commit()

    def _goes_on(self) -> bool:
        """Whether a board that holds the event sends the rest of it on request; asked once.

        A board gives up a laptop that is silent, such as one that slept: it ends the recording
        by itself, and sends nothing more.
        """
        if self._woken:
            return False
        self._woken = True
        try:
            self._session.ask("fetch", **{"from": self._receiver.expected})
        except (LinkTimeoutError, BoardError):
            return False
        now_s = self._session.clock()
        self._receiver.heard_s = self._receiver.progress_s = self._receiver.came_s = now_s
        return True

    def _ask_for_events(self) -> None:
        """Request all events once more: the board does not resend a damaged event by itself."""
        if not self._receiver.events_lacking():
            return
        with contextlib.suppress(LinkTimeoutError, BoardError):
            self._session.ask("fetch", **{"from": self._receiver.expected})
        deadline = self._watch.deadline(AGAIN_S)
        while self._receiver.events_lacking() and self._session.clock() < deadline:
            self._step()

    def _is_all_here(self) -> bool:
        status = self._receiver.status
        return (
            status is not None
            and status.state == "held"
            and (self._receiver.expected >= status.head)
        )
