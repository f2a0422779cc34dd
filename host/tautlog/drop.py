"""Drop: arming, release and reception, in the order in which a crew does them.

The order is fixed: the recorder stores before anybody counts down, and the
laptop can only ask for a release; switch, key and catch decide. Nothing here
prints: a `Crew` is told, and asked.
"""

from __future__ import annotations

import contextlib
import signal
import types
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from tautlog.calibration import Calibration
from tautlog.errors import (
    AbortedError,
    LinkError,
    LinkTimeoutError,
    RecordError,
    RefusedError,
)
from tautlog.firmware import wire
from tautlog.health import Health, read_health
from tautlog.receiver import Receiver
from tautlog.record import RecordWriter, open_record
from tautlog.session import Session
from tautlog.stream import Block, BoardEvent, Instrument
from tautlog.trace import DropSetup

OPENING_S = 6.0  # longest wait for the switch after the release command
ENDING_S = 6.0  # longest wait for the board to end a recording and send the rest
STORING_S = 3.0
# What a board says of where an event was, in words.
KEPT = {
    "memory": "from the board's memory",
    "flash": "from the board's flash, where it had been copied",
    "reset": "from the board's memory, which a reset had spared",
}


class Crew(Protocol):
    """Whoever watches and decides."""

    def met(self, instrument: Instrument, health: Health) -> None:
        """The board was greeted and reads this."""

    def agree(self, setup: DropSetup) -> bool:
        """Whether the phrase that arms was typed."""

    def armed(self, by_hand: bool) -> None:
        """The board is armed and its samples are on disk."""

    def count(self, left_s: float) -> None:
        """So many seconds are left until the release command."""

    def released(self, opened: BoardEvent) -> None:
        """The release switch opened, or the force came without it."""

    def block(self, block: Block) -> None:
        """A block was taken; whoever shows it must be quick."""

    def received(self, since_release_s: float, of_s: float) -> None:
        """So much of the recording has come."""


@dataclass(frozen=True)
class DropPlan:
    """One drop as asked for.

    Attributes
    ----------
    path : Path
        The record to make; must not exist.
    setup, calibration
        Go into the record.
    by_hand : bool
        Wait for a hand to release; no drive.
    countdown_s, record_s : float
        Countdown; recording after the release.
    speed : float
        Board seconds per second of the laptop: 1 but in a rehearsal.
    campaign : str
        Name of the campaign.
    """

    path: Path
    setup: DropSetup
    calibration: Calibration
    by_hand: bool = False
    countdown_s: float = 5.0
    record_s: float = 7.0
    speed: float = 1.0
    campaign: str = ""

    def at(self, path: Path) -> DropPlan:
        """The same drop with another record path."""
        return replace(self, path=path)


@dataclass(frozen=True)
class DropOutcome:
    """What came of it.

    Attributes
    ----------
    path : Path
        The record.
    early : bool
        The user ended the recording early.
    first_block : int
        Number of its first block.
    missing_blocks, damaged : int
        Blocks that never came; frames that arrived damaged and were sent again.
    events : list of BoardEvent
        What the board noted.
    kept : str
        Where a recovered event was: "memory", "flash" or "reset"; empty otherwise.
    """

    path: Path
    early: bool
    first_block: int
    missing_blocks: int
    damaged: int
    events: list[BoardEvent] = field(default_factory=list)
    kept: str = ""


class StopRequest:
    """Ctrl-C as a wish that is looked at often, so that nothing is torn apart.

    A second Ctrl-C interrupts at once.
    """

    def __init__(self) -> None:
        self.asked = False

    def __call__(self, number: int, frame: types.FrameType | None) -> None:
        """Note the signal."""
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True

    @contextlib.contextmanager
    def listening(self) -> Iterator[StopRequest]:
        """Take Ctrl-C while inside; only the main thread may."""
        try:
            before = signal.signal(signal.SIGINT, self)
        except ValueError:  # another thread: Ctrl-C does not come here
            yield self
            return
        try:
            yield self
        finally:
            signal.signal(signal.SIGINT, before)


def run_drop(session: Session, plan: DropPlan, crew: Crew) -> DropOutcome:
    """Do one drop with the board of a session.

    Raises
    ------
    RefusedError
        If the board will not arm, with every reason.
    AbortedError
        If it was called off before the release; says what state the board is in.
    LinkError
        If the board is lost; what came until then is in the record, and
        `recover` fetches what the board holds.
    RecordError
        If the record cannot be written; the board then falls back to safe.
    """
    try:
        instrument = _prepare(session, plan, crew)
    except KeyboardInterrupt as problem:
        raise AbortedError(
            "stopped by Ctrl-C: the board was not armed, the release drive is low"
        ) from problem
    writer = RecordWriter.create(
        plan.path,
        setup=plan.setup,
        calibration=plan.calibration,
        instrument=instrument,
        campaign=plan.campaign,
    )
    try:
        answer = session.ask("arm", by="hand" if plan.by_hand else "drive")
    except (RefusedError, LinkError):
        # The answer may have been lost on a board that did arm.
        with contextlib.suppress(LinkError):
            session.send(wire.ABORT)
        # Nothing was recorded: an empty file would only be in the way.
        writer.leave()
        plan.path.unlink()
        raise
    with StopRequest().listening() as stop:
        return _Armed(session, plan, crew, writer, answer, stop).run()


def _prepare(session: Session, plan: DropPlan, crew: Crew) -> Instrument:
    """Everything before arming: greeting, health, the phrase."""
    instrument = session.greet()
    if instrument.state != "safe":
        raise _not_safe(instrument.state)
    crew.met(instrument, read_health(session, plan.calibration))
    if not crew.agree(plan.setup):
        raise AbortedError(
            "the phrase was not typed: the board was not armed, the release drive is low"
        )
    return instrument


class _Armed:
    """The part of a drop in which the board is armed or records."""

    def __init__(
        self,
        session: Session,
        plan: DropPlan,
        crew: Crew,
        writer: RecordWriter,
        answer: dict[str, object],
        stop: StopRequest,
    ) -> None:
        self._session = session
        self._plan = plan
        self._crew = crew
        self._writer = writer
        self._stop = stop
        self._token = bytes.fromhex(str(answer["token"]))
        self._first = int(str(answer["first"]))
        self._armed_at = int(str(answer["armed"]))
        self._receiver = Receiver(session, writer, self._first, crew.block)

    def run(self) -> DropOutcome:
        try:
            self._until_released()
            self._record()
            self._end()
        except LinkError as problem:
            self._writer.leave()
            raise type(problem)(
                f"{problem}. What came is in {self._plan.path}; the board keeps the event: "
                "`tautlog recover` fetches it"
            ) from problem
        except BaseException as problem:
            # Whatever went wrong here, the board must not be left armed.
            with contextlib.suppress(LinkError):
                self._session.send(wire.ABORT)
            with self._writer:
                raise problem
        text = "ended early by the user" if self._stop.asked else ""
        self._writer.finish("complete", text)
        return DropOutcome(
            path=self._plan.path,
            early=self._stop.asked,
            first_block=self._first,
            missing_blocks=self._receiver.missing_blocks,
            damaged=self._session.damaged,
            events=self._receiver.events,
        )

    # Before the release

    def _until_released(self) -> None:
        self._until_storing()
        self._crew.armed(self._plan.by_hand)
        if not self._plan.by_hand:
            self._count_down()
            self._session.send(wire.RELEASE, self._token)
        deadline = self._deadline(OPENING_S)
        while (opened := self._released()) is None:
            self._step_armed()
            if not self._plan.by_hand and self._session.clock() > deadline:
                raise self._called_off("the board did not say what became of the release")
        self._crew.released(opened)

    def _released(self) -> BoardEvent | None:
        """The release: the switch opened, or, where it never does, the force came."""
        by_switch = self._receiver.event("release-opened")
        return by_switch or self._receiver.event("release-by-force")

    def _until_storing(self) -> None:
        """Wait for the first acknowledged blocks: no storing, no countdown."""
        deadline = self._deadline(STORING_S)
        while self._receiver.acked <= self._armed_at:
            self._step_armed()
            if self._session.clock() > deadline:
                raise self._called_off("no samples reach the disk")

    def _count_down(self) -> None:
        end_s = self._session.clock() + self._plan.countdown_s / self._plan.speed
        while (left_s := end_s - self._session.clock()) > 0:
            self._crew.count(left_s * self._plan.speed)
            self._step_armed()

    def _step_armed(self) -> None:
        self._receiver.step()
        if self._stop.asked:
            raise self._called_off("Ctrl-C")
        for name in ("went-safe", "refused"):
            event = self._receiver.event(name)
            if event is not None and self._released() is None:
                raise self._called_off(wire.REASONS[event.value][1])

    def _called_off(self, why: str) -> AbortedError:
        """Make the board safe and say so."""
        self._session.send(wire.ABORT)
        deadline = self._deadline(STORING_S)
        while self._session.clock() < deadline:
            self._receiver.step()
            status = self._receiver.status
            if self._released() is not None:
                self._stop.asked = True
                break
            if status is not None and status.state == "safe":
                low = not status.outputs & wire.OUTPUT_DRIVE
                drive = "the release drive is low" if low else "THE RELEASE DRIVE IS NOT LOW"
                return AbortedError(
                    f"drop called off: {why}. The board is in state safe, {drive}; the sled "
                    "may still hang: stay clear until it is pinned"
                )
        return AbortedError(
            f"drop called off: {why}. The board has not confirmed that it is safe: key off, stay "
            "clear, treat the sled as armed"
        )

    # After the release

    def _record(self) -> None:
        opened = self._released()
        assert opened is not None
        instrument = self._session.instrument
        wanted = self._plan.record_s * instrument.sample_rate_hz
        while not self._stop.asked:
            self._receiver.step()
            come = self._receiver.expected * instrument.samples_per_block - opened.sample_index
            if come >= wanted or self._receiver.event("recording-ended") is not None:
                break
            self._crew.received(come / instrument.sample_rate_hz, self._plan.record_s)
            self._session_must_live()

    def _session_must_live(self) -> None:
        age_s = self._session.clock() - self._receiver.heard_s
        if age_s > ENDING_S * self._session.scale:
            raise LinkTimeoutError(f"nothing has come from the board for {age_s:.1f} s")

    def _end(self) -> None:
        """Let the board end the recording, fetch the rest, and let it forget."""
        self._session.send(wire.ABORT if self._stop.asked else wire.FINISH)
        deadline = self._deadline(ENDING_S)
        while not self._is_all_here():
            self._receiver.step()
            if self._session.clock() > deadline:
                raise LinkTimeoutError("the board did not end the recording in time")
        self._receiver.commit()
        self._session.ask("discard")

    def _is_all_here(self) -> bool:
        status = self._receiver.status
        return (
            status is not None
            and status.state == "held"
            and (self._receiver.expected >= status.head)
        )

    def _deadline(self, wait_s: float) -> float:
        return self._session.clock() + wait_s * self._session.scale


def recover(session: Session, path: Path, plan: DropPlan | None = None) -> DropOutcome:
    """Fetch the event that a board still holds.

    Parameters
    ----------
    session : Session
        The board.
    path : Path
        A record that a killed receiver left, to be completed; or, with a plan,
        the record to make.
    plan : DropPlan, optional
        Set-up and calibration of the new record.

    Raises
    ------
    RefusedError
        If the board holds nothing.
    RecordError
        If the record is finished already, or is another board's.
    """
    instrument = session.greet()
    if instrument.state != "held":
        raise RefusedError(
            f"the board is {instrument.state} and holds no event: there is nothing to recover"
        )
    if plan is None:
        _refuse_stranger(path, instrument.serial)
        writer = RecordWriter.resume(path)
    else:
        writer = RecordWriter.create(
            path, setup=plan.setup, calibration=plan.calibration, instrument=instrument
        )
    wanted = writer.next_block
    answer = session.ask("fetch", **{"from": wanted})
    head = int(str(answer["head"]))
    first = max(wanted, int(str(answer["oldest"])))
    receiver = Receiver(session, writer, first)
    deadline = session.clock() + ENDING_S * session.scale
    try:
        while receiver.expected < head or receiver.event("recording-ended") is None:
            before = receiver.expected
            receiver.step()
            if receiver.expected > before:
                deadline = session.clock() + ENDING_S * session.scale
            if session.clock() > deadline:
                raise LinkTimeoutError("the board stopped sending before the event was complete")
    except BaseException:
        writer.leave()
        raise
    receiver.commit()
    session.ask("discard")
    kept = str(answer.get("kept", "memory"))
    writer.finish("recovered", f"blocks {first} to {head - 1} came {KEPT.get(kept, kept)}")
    return DropOutcome(
        path, False, first, receiver.missing_blocks, session.damaged, receiver.events, kept
    )


def _refuse_stranger(path: Path, serial: str) -> None:
    known = open_record(path).instrument
    if known is None or known.serial != serial:
        seen = "an imported trace" if known is None else f"from board {known.serial}"
        raise RecordError(
            f"{path} is {seen}, the board at the port is {serial}: its event goes into another "
            "record; leave RECORD out and one is found or made",
            path=str(path),
        )


def complete(path: Path) -> DropOutcome:
    """Finish a record that a killed program left, from what is on disk alone.

    Raises
    ------
    RecordError
        If it is not there, finished already, or cannot be written.
    """
    writer = RecordWriter.resume(path)
    writer.finish("recovered", "completed from what the receiver had put on disk")
    record = open_record(path)
    table = record.block_table
    first = int(table["block"][0]) if table.size else 0
    missing = int(table["block"][-1]) + 1 - first - table.size if table.size else 0
    return DropOutcome(path, False, first, missing, 0, list(record.events))


def unfinished_record(folder: Path, serial: str) -> Path | None:
    """The newest record in a folder that a receiver of that board left unfinished."""
    found = None
    for path in sorted(folder.glob("*.h5")):
        try:
            record = open_record(path)
        except RecordError:
            continue  # a broken neighbour is no reason to stop
        ours = record.instrument is not None and record.instrument.serial == serial
        if ours and record.status == "recording":
            found = path
    return found


def _not_safe(state: str) -> RefusedError:
    if state == "held":
        return RefusedError(
            "the board holds the event of an earlier drop: `tautlog recover` fetches it first",
            reasons=(wire.REASONS[wire.EVENT_HELD][1],),
        )
    return RefusedError(
        f"the board is {state}: another program may be using it. Key off, then try again"
    )
