"""Armed: the part of a drop in which the board is armed or records.

Before the release anything wrong calls the drop off. After it nothing but the user's own
wish ends the recording early: what is shown, and to whom, is of no account any more.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import NoReturn

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.board.readiness import Finding
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.drop.arming import RELEASED, SAFE, UNKNOWN, Grant, make_safe
from tautlog.drop.crew import ShieldedCrew
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.stop import StopRequest
from tautlog.errors import (
    AbortedError,
    BoardError,
    LinkError,
    LinkTimeoutError,
    RecordError,
    RecordGoneError,
)
from tautlog.firmware import wire
from tautlog.model.reception import BY_DRIVE, BY_HAND
from tautlog.model.stream import BoardEvent
from tautlog.record import RecordWriter

OPENING_S = 6.0  # longest wait for the switch after the release command
ENDING_S = 6.0  # longest wait for the board to end a recording and send the rest
STORING_S = 3.0
STUCK_S = 12.0  # a board that lives, and of which no further block comes
# A release lies no farther from the blocks that have come when it is told: it is sent before
# the next of them, and a line that stalled may hold some back.
BEFORE_BLOCKS_S, BEHIND_BLOCKS_S = 0.5, 2.0
AGAIN_S = 1.0  # for events that are sent again
KEEPS = "the board completes its window and keeps the event: `tautlog recover` fetches it"
LOST = (
    "A board that hears nothing falls back to safe within seconds; key off, stay clear, treat the "
    "sled as armed. If it was released all the same, `tautlog recover` fetches the event"
)
UNASKED = Finding(
    "unasked-release",
    False,
    "THE RELEASE OPENED WITHOUT HAVING BEEN ASKED FOR",
    "no release was sent",
    "the drop is recorded; find out what let go before anybody hoists the sled again",
)
KEPT_BACK = (
    "the board never sent {} block(s) that it said it holds: it keeps the event, `tautlog recover` "
    "tries to fetch them into a record of their own"
)
HANGS = "; the sled may still hang: stay clear until it is pinned"


class _Left(Exception):
    """The user leaves the recording to the board."""


class Armed:
    """An armed board, until its event is on disk.

    Parameters
    ----------
    session : Session
        The board.
    plan : DropPlan
        The drop.
    crew : ShieldedCrew
        Who is told.
    writer : RecordWriter
        The record.
    grant : Grant
        What the board answered.
    stop : StopRequest
        The user's wish.
    """

    def __init__(
        self,
        session: Session,
        plan: DropPlan,
        crew: ShieldedCrew,
        writer: RecordWriter,
        grant: Grant,
        stop: StopRequest,
    ) -> None:
        self._session = session
        self._plan = plan
        self._crew = crew
        self._writer = writer
        self._stop = stop
        self._grant = grant
        self._late = ""
        self._told_more = stop.more + 1
        self._receiver = Receiver(session, writer, grant.first, crew.block, writer.reception)
        self._seen = writer.reception
        self._seen.by = BY_HAND if plan.by_hand else BY_DRIVE
        self._seen.release_sent = False

    def run(self) -> DropOutcome:
        """Release, record, and bring the event home.

        Raises
        ------
        AbortedError, LinkError, RecordError
            See `drop.run_drop`.
        """
        try:
            self._until_released()
            self._record()
            self._end()
            self._writer.finish("complete", "; ".join(self._notes()))
        except LinkError as problem:
            self._lose(problem)
        except BaseException as problem:
            if self._released() is not None:
                self._leave(problem)
            self._abort(problem)
        withheld = self._seen.given_up_blocks
        forgot: tuple[str, ...] = (KEPT_BACK.format(withheld),)
        if not withheld:
            forgot = forget(self._session, self._writer.must_be_there)
        return DropOutcome(
            path=self._plan.path,
            early=self._stop.asked,
            first_block=self._grant.first,
            missing_blocks=self._receiver.missing_blocks,
            damaged=self._session.damaged,
            events=self._receiver.events,
            notes=self._notes() + forgot,
        )

    def _notes(self) -> tuple[str, ...]:
        """What went otherwise than planned."""
        notes = []
        if self._late:
            notes.append(f"called off too late, the sled had gone: {self._late}")
        if self._stop.asked:
            notes.append(f"ended early by the user ({self._stop.why})")
        elif self._stop.came:
            notes.append(f"{self._stop.why} came while recording, which went on to its end")
        ended = self._receiver.event("recording-ended")
        if ended is not None and ended.value not in (wire.FINISHED, wire.ABORTED):
            notes.append(f"the board ended the recording itself: {wire.REASONS[ended.value][1]}")
        if self._crew.failure:
            notes.append(f"nothing could be shown any more ({self._crew.failure})")
        board = self._session.instrument
        story = Story(
            self._receiver.events,
            board.sample_rate_hz,
            board.samples_per_block,
            reception=self._seen,
        )
        notes += [one.text for one in contradictions(story)]
        return tuple(notes)

    # Before the release

    def _until_released(self) -> None:
        self._until_storing()
        self._crew.armed(self._plan.by_hand)
        if not self._plan.by_hand:
            self._count_down()
            self._heed()
            if self._released() is None:
                self._seen.release_sent = True
                self._session.send(wire.RELEASE, self._grant.token)
        deadline = self._deadline(OPENING_S)
        while (opened := self._released()) is None:
            # From the command on it is no matter who can see what becomes of it.
            self._step_armed(shown=self._plan.by_hand)
            if not self._plan.by_hand and self._session.clock() > deadline:
                self._call_off("the board did not say what became of the release")
        self._stop.released()
        self._crew.released(opened)
        if not self._plan.by_hand and not self._seen.release_sent:
            self._crew.found([UNASKED])

    def _released(self) -> BoardEvent | None:
        """The release: the switch opened, or, where it never does, the force came."""
        by_switch = self._receiver.event("release-opened")
        return by_switch or self._receiver.event("release-by-force")

    def _until_storing(self) -> None:
        """Wait for the first acknowledged blocks: no storing, no countdown."""
        deadline = self._deadline(STORING_S)
        while self._receiver.acked <= self._grant.armed and self._released() is None:
            self._step_armed()
            if self._session.clock() > deadline:
                self._call_off("no samples reach the disk")

    def _count_down(self) -> None:
        end_s = self._session.clock() + self._plan.countdown_s / self._plan.speed
        while (left_s := end_s - self._session.clock()) > 0 and self._released() is None:
            self._crew.count(left_s * self._plan.speed)
            self._step_armed()

    def _step_armed(self, *, shown: bool = True) -> None:
        self._receiver.step()
        self._heed(shown=shown)

    def _heed(self, *, shown: bool = True) -> None:
        """Call off if anybody wants it, or if nobody can see any more."""
        if self._released() is not None:
            return
        if self._stop.asked:
            self._call_off(self._stop.why)
        elif shown and self._crew.failure:
            self._call_off(f"nothing can be shown any more ({self._crew.failure})")
        for name in ("went-safe", "refused"):
            event = self._receiver.event(name)
            if event is not None and self._released() is None:
                self._call_off(wire.REASONS[event.value][1])

    def _call_off(self, why: str) -> None:
        """Make the board safe and raise; return if the sled has gone already."""
        self._session.send(wire.ABORT)
        deadline = self._deadline(STORING_S)
        while self._session.clock() < deadline and not self._stop.left:
            self._receiver.step()
            status = self._receiver.status
            if self._released() is not None:
                self._late = why
                return
            if status is not None and status.state == "safe":
                low = not status.outputs & wire.OUTPUT_DRIVE
                said = SAFE if low else "The board is in state safe, THE RELEASE DRIVE IS NOT LOW"
                raise AbortedError(f"drop called off: {why}. {said}{HANGS}")
        raise AbortedError(f"drop called off: {why}. {UNKNOWN}")

    def _abort(self, problem: BaseException) -> NoReturn:
        """Whatever went wrong before the release, the board must not be left armed."""
        if not isinstance(problem, AbortedError):  # else it was told already
            said = make_safe(self._session)
            if said is RELEASED:
                self._leave(problem)
            if isinstance(problem, RecordError):
                hangs = HANGS if said is SAFE else ""
                problem = _retold(problem, f"drop called off: {problem}. {said}{hangs}")
        with self._writer:
            raise problem

    # After the release

    def _record(self) -> None:
        instrument = self._session.instrument
        wanted = self._plan.record_s * instrument.sample_rate_hz
        start = self._start()
        while not self._stop.asked:
            self._step()
            come = self._receiver.expected * instrument.samples_per_block - start
            if come >= wanted or self._receiver.event("recording-ended") is not None:
                break
            self._crew.received(come / instrument.sample_rate_hz, self._plan.record_s)
            self._session_must_live()

    def _start(self) -> int:
        """Sample from which the recording is counted: the release, where its stamp can be."""
        opened, board = self._released(), self._session.instrument
        assert opened is not None
        here = self._receiver.expected * board.samples_per_block
        first = here - round(BEFORE_BLOCKS_S * board.sample_rate_hz)
        last = here + round(BEHIND_BLOCKS_S * board.sample_rate_hz)
        return min(max(opened.sample_index, first), last)

    def _step(self) -> None:
        self._receiver.step()
        if self._stop.left:
            raise _Left
        if self._stop.asked and self._stop.more < self._told_more:
            self._told_more = self._stop.more
            self._crew.ending(self._told_more)

    def _session_must_live(self) -> None:
        now_s, scale = self._session.clock(), self._session.scale
        age_s = now_s - self._receiver.heard_s
        if age_s > ENDING_S * scale:
            raise LinkTimeoutError(f"nothing has come from the board for {age_s:.1f} s")
        stuck_s = now_s - self._receiver.progress_s
        if stuck_s > STUCK_S * scale:
            raise LinkTimeoutError(f"no further block has come from the board for {stuck_s:.1f} s")

    def _end(self) -> None:
        """Let the board end the recording, and fetch the rest."""
        self._session.send(wire.ABORT if self._stop.asked else wire.FINISH)
        started_s = self._session.clock()
        while not self._is_all_here():
            self._step()
            # A hole is waited for on its own account, see `holes`.
            since_s = max(started_s, self._receiver.progress_s)
            if self._session.clock() > since_s + ENDING_S * self._session.scale:
                raise LinkTimeoutError("the board did not end the recording in time")
        self._ask_for_events()
        self._receiver.commit()

    def _ask_for_events(self) -> None:
        """A damaged frame of an event is not sent again by itself: ask for all of them once."""
        if not self._receiver.events_lacking():
            return
        with contextlib.suppress(LinkTimeoutError, BoardError):
            self._session.ask("fetch", **{"from": self._receiver.expected})
        deadline = self._deadline(AGAIN_S)
        while self._receiver.events_lacking() and self._session.clock() < deadline:
            self._step()

    def _is_all_here(self) -> bool:
        status = self._receiver.status
        return (
            status is not None
            and status.state == "held"
            and (self._receiver.expected >= status.head)
        )

    def _lose(self, problem: LinkError) -> NoReturn:
        """Keep what came of a board that is gone; `recover` goes on with it."""
        with contextlib.suppress(RecordError):
            self._writer.leave()
        what = f"{problem}. What came is in {self._plan.path}"
        if self._released() is None:
            raise type(problem)(f"{what}. {LOST}") from problem
        raise type(problem)(f"{what}; {KEEPS}") from problem

    def _leave(self, problem: BaseException) -> NoReturn:
        """Leave a recording to the board: the record stays as it was last committed."""
        with contextlib.suppress(RecordError):
            self._writer.leave()
        if isinstance(problem, _Left):
            status = self._receiver.status
            # The release is told before the next status.
            held = status is not None and status.state == "held"
            state = "held" if held else "recording"
            raise AbortedError(
                f"left by {self._stop.why} while the board was in state {state}. What came is in "
                f"{self._plan.path}; {KEEPS}"
            ) from problem
        if isinstance(problem, RecordGoneError):
            raise still_held(problem) from problem
        text = str(problem) or type(problem).__name__
        raise RecordError(
            f"the recording stopped: {text}. What came is in {self._plan.path}; {KEEPS}"
        ) from problem

    def _deadline(self, wait_s: float) -> float:
        return self._session.clock() + wait_s * self._session.scale


def forget(session: Session, must_be_there: Callable[[], None]) -> tuple[str, ...]:
    """Let a board forget what is finished, on disk, and under its name.

    Parameters
    ----------
    session : Session
        The board.
    must_be_there : callable
        Raises a RecordError if the record was removed, moved, replaced or damaged.

    Returns
    -------
    tuple of str
        A note where the board was not heard to do so.

    Raises
    ------
    RecordError
        As `must_be_there`: the board keeps the event.
    """
    try:
        must_be_there()
    except RecordError as problem:
        raise _retold(problem, f"{problem}; {KEEPS}") from problem
    try:
        session.ask("discard")
    except (LinkError, BoardError) as problem:
        return (
            f"the board was not heard to forget its own copy ({problem}); if it still holds it, "
            "`tautlog recover` knows it again",
        )
    return ()


def still_held(problem: RecordGoneError) -> RecordError:
    """The same error, and that the board keeps the event for the file that was saved."""
    keeps = KEEPS
    if problem.saved and not problem.whole:
        keeps = KEEPS.replace("recover`", f"recover {problem.saved} --port ...`")
    return _retold(problem, f"{problem}; {keeps}")


def _retold(problem: RecordError, text: str) -> RecordError:
    if isinstance(problem, RecordGoneError):
        return RecordGoneError(text, path=problem.path, saved=problem.saved, whole=problem.whole)
    return RecordError(text, path=problem.path)
