"""Recovery: completes a drop whose data is still on the board, or unfinished on disk.

The events are fetched first: they identify the drop. Its data then goes into the record that
was begun for it, and not into a second one if a whole record exists.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from tautlog.analysis.contradictions import events_lacking
from tautlog.archive.fingerprint import (
    Fingerprint,
    fingerprint,
    fingerprint_of,
    readable_records,
    records_of,
)
from tautlog.board.answers import MEND, told, whole
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.drop.keeping import forget, lacking, still_held
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.recording import AGAIN_S, ENDING_S, latest
from tautlog.drop.stop import StopRequest
from tautlog.errors import (
    AbortedError,
    BoardError,
    BusyError,
    LinkTimeoutError,
    RecordError,
    RecordGoneError,
    RefusedError,
)
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.stream import BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import Record, RecordWriter, open_record

NOTHING_FROM = (1 << 30) - 1  # a block number that no board reaches: requests events only
# Where a board kept an event, in words.
KEPT = {
    "memory": "from the board's memory",
    "flash": "from the board's flash, where it had been copied",
    "reset": "from the board's memory, which survived a reset",
}

# A board whose laptop has left ends its recording once it has heard nothing for two seconds and
# its window is whole: every question in between would let it go on.
LEFT_ALONE_S = 3.0
LEFT_ALONE_TIMES = 5

GIVES_UP = (
    "A named person does without the rest: `tautlog recover --give-up --by NAME --reason TEXT`"
)
HOLDS = "the board still holds the event, and `tautlog recover` continues"


class _Stopped(Exception):
    """The user requested a stop."""


@dataclass(frozen=True)
class Known:
    """Set-up, calibration and channels of a drop whose record is made afterwards."""

    setup: DropSetup
    calibration: Calibration
    channels: tuple[Channel, ...] = ()


@dataclass(frozen=True)
class Held:
    """The event that a board holds, as the board reports it.

    Attributes
    ----------
    identity : Fingerprint
        Identifies the event.
    oldest, head : int
        Its first block, and the block after its last.
    kept : str
        Where it was kept, see KEPT.
    events : tuple of BoardEvent
        What it tells of it.
    """

    identity: Fingerprint
    oldest: int
    head: int
    kept: str
    events: tuple[BoardEvent, ...] = ()


def held_event(session: Session) -> Held:
    """Greet a board and ask which event it holds.

    Raises
    ------
    RefusedError
        If it holds none, or is armed, or records on and on.
    LinkError, BoardError
        If no tautlog board answers.
    """
    instrument = _greet_when_ended(session)
    if instrument.state != "held":
        raise RefusedError(
            f"the board is {instrument.state} and holds no event: there is nothing to recover"
        )
    answer = session.ask("fetch", **{"from": NOTHING_FROM})
    head, oldest = whole("fetch", answer, "head"), whole("fetch", answer, "oldest")
    if not 0 < head - oldest <= instrument.most_jump:
        raise BoardError(
            f"the board's answer to `fetch` has oldest = {oldest} and head = {head}, expected at "
            f"least one block, and at most {instrument.most_jump} in its memory: it keeps the "
            f"event; {MEND}"
        )
    # Read without a receiver: nothing is on disk, so nothing may be acknowledged.
    events: dict[int, BoardEvent] = {}
    deadline = session.clock() + AGAIN_S * session.scale
    while events_lacking(list(events.values())) and session.clock() < deadline:
        for message in session.pump():
            if isinstance(message, BoardEvent):
                events.setdefault(message.number, message)
    identity = fingerprint(instrument.serial, events.values())
    kept = told(answer.get("kept", "memory"))
    return Held(identity, oldest, head, kept, tuple(events.values()))


def _greet_when_ended(session: Session) -> Instrument:
    """Greet a board; leave one that still records alone until it has ended.

    One that is armed is not waited for: somebody may be driving it.
    """
    for _ in range(LEFT_ALONE_TIMES):
        try:
            return session.greet()
        except BusyError as problem:
            if problem.state != "recording":
                raise
            quiet_until = session.clock() + LEFT_ALONE_S * session.scale
            while session.clock() < quiet_until:
                session.pump()
    return session.greet()


def already_in(session: Session, held: Held, folder: Path) -> tuple[Path | None, list[str]]:
    """Look for a whole record of the event; if there is one, let the board discard its copy.

    Returns
    -------
    path : Path or None
        The verified record that holds all of it; None if the event must be fetched.
    notes : list of str
        Observations, in plain words.
    """
    notes = []
    for record in records_of(folder, held.identity):
        lacks = what_lacks(record, held)
        if lacks:
            notes.append(f"{record.path} is of the same event, but {lacks}")
            continue
        notes += _forget_whole(session, held, record, partial(_must_be_whole, record, held))
        return record.path, notes
    return None, notes


def _forget_whole(
    session: Session, held: Held, record: Record, must_be_there: Callable[[], None]
) -> tuple[str, ...]:
    """Let the board discard its event if what it told of it is the whole of it.

    A board lets go of blocks that were acknowledged: what came earlier is in the record alone.
    """
    per_block, there = session.instrument.samples_per_block, record.block_table["block"]
    oldest = min(held.oldest, int(there[0])) if there.size else held.oldest
    if lacks := lacking(held.events, per_block, oldest, held.head):
        return (f"{lacks}: the board keeps the event",)
    return forget(session, must_be_there)


def _must_be_whole(record: Record, held: Held) -> None:
    """Check the file again before the board discards its copy."""
    lacks = what_lacks(open_record(record.path), held)
    if lacks:
        raise RecordError(f"{record.path} is no longer whole: {lacks}", path=str(record.path))


def what_lacks(record: Record, held: Held) -> str:
    """Why a record cannot replace the board's copy, or ""."""
    if record.status not in ("complete", "recovered"):
        return f"its status is {record.status}"
    if record.verify_seal().state != "intact":
        return "its seal is not intact"
    numbers = record.block_table["block"]
    if not numbers.size or int(numbers[-1]) + 1 < held.head:
        return "it ends before the last block that the board holds"
    missing = missing_blocks(record)
    return f"{missing} block(s) are missing in it" if missing else ""


def recover(
    session: Session,
    path: Path,
    known: Known | None = None,
    held: Held | None = None,
    stop: StopRequest | None = None,
) -> DropOutcome:
    """Fetch the event that a board still holds.

    Parameters
    ----------
    session : Session
        The board.
    path : Path
        An unfinished record to complete; or, with `known`, the new record.
    known : Known, optional
        Set-up and calibration of the new record.
    held : Held, optional
        The result of `held_event`; default: ask the board.
    stop : StopRequest, optional
        Checked between two steps; once all data is here the record is finished first.

    Raises
    ------
    AbortedError
        If the user stopped it: the board still holds the event, and the data so far is on disk.
    RefusedError
        If the board holds no event.
    RecordError
        If the record is finished already, or is of another board or drop.
    """
    held = held or held_event(session)
    writer = _writer(session, path, known, held)
    first = max(writer.next_block, held.oldest)
    receiver = Receiver(session, writer, first, reception=writer.reception)
    try:
        _fetch(session, receiver, writer, held, stop or StopRequest())
    except _Stopped as problem:
        raise AbortedError(f"stopped by {problem}: {_put_away(writer, known)}; {HOLDS}") from None
    record = open_record(path)
    return DropOutcome(
        path=path,
        early=False,
        first_block=first,
        missing_blocks=missing_blocks(record),
        damaged=session.damaged,
        events=receiver.events,
        kept=held.kept,
        notes=_let_go(session, record, replace(held, events=tuple(receiver.events)), writer),
    )


def _let_go(session: Session, record: Record, held: Held, writer: RecordWriter) -> tuple[str, ...]:
    """Let the board discard its event if the record has every block that the board holds."""
    there = record.block_table["block"]
    came = int(np.count_nonzero((there >= held.oldest) & (there < held.head)))
    never = held.head - held.oldest - came
    if never:
        return (
            f"{never} block(s) that the board claims to hold never came: it keeps the event, and "
            f"`tautlog recover` tries again, into another record. {GIVES_UP}",
        )
    return _forget_whole(session, held, record, writer.must_be_there)


def _fetch(
    session: Session, receiver: Receiver, writer: RecordWriter, held: Held, stop: StopRequest
) -> None:
    """Take what the board holds, and finish its record."""
    first = receiver.expected
    try:
        session.ask("fetch", **{"from": writer.next_block})
        _receive(session, receiver, held.head, stop)
        writer.finish("recovered", f"blocks {first} to {held.head - 1} came {_from(held)}")
    except RecordGoneError as problem:
        raise still_held(problem) from problem
    except _Stopped:
        raise
    except BaseException:
        writer.leave()
        raise


def _put_away(writer: RecordWriter, known: Known | None) -> str:
    """Close an incomplete record and say where it is; remove a new, empty one."""
    if known is not None and not writer.next_block:
        writer.withdraw()
        return "no record was made"
    writer.leave()
    return f"the data so far is in {writer.path}, which is not finished"


def _writer(session: Session, path: Path, known: Known | None, held: Held) -> RecordWriter:
    """The record to complete, or a new one if its set-up is known."""
    if known is None:
        _refuse_stranger(open_record(path), held)
        return RecordWriter.resume(path)
    return RecordWriter.create(
        path,
        setup=known.setup,
        calibration=known.calibration,
        instrument=session.instrument,
        channels=known.channels,
    )


def _from(held: Held) -> str:
    return KEPT.get(held.kept, held.kept)


def _receive(session: Session, receiver: Receiver, head: int, stop: StopRequest) -> None:
    """Take all blocks, and all events that the board sends."""
    events_s = None
    board = session.instrument
    lasts_s = (head - receiver.expected) * board.samples_per_block / board.sample_rate_hz
    deadline = latest(session, lasts_s)
    while receiver.expected < head or receiver.events_lacking():
        if stop.asked:
            raise _Stopped(stop.why)
        receiver.step()
        now_s = session.clock()
        if receiver.expected >= head:
            # All blocks are here: a missing event will not come any more, and that is reported.
            events_s = now_s if events_s is None else events_s
            if now_s > events_s + AGAIN_S * session.scale:
                break
        # A hole has its own waiting time, see `holes`: a board that talks is not silent.
        elif now_s > min(receiver.heard_s + ENDING_S * session.scale, deadline):
            raise LinkTimeoutError("the board did not send the whole event in time")
    receiver.commit()


def _refuse_stranger(record: Record, held: Held) -> None:
    path, known = record.path, record.instrument
    serial = held.identity.serial
    if known is None or known.serial != serial:
        seen = "an imported trace" if known is None else f"from board {known.serial}"
        raise RecordError(
            f"{path} is {seen}, but the board at the port is {serial}: leave RECORD out to find "
            "or make the record of its event",
            path=str(path),
        )
    if record.status == "recording" and not is_begun_of(record, held):
        raise RecordError(
            f"{path} is of another drop than the board's: leave RECORD out to find or make the "
            f"right record; `tautlog recover {path}` without a port completes this one from the "
            "data on disk",
            path=str(path),
        )


def is_begun_of(record: Record, held: Held) -> bool:
    """Whether an unfinished record may be of the event that the board holds."""
    known = fingerprint_of(record)
    if known is None or not known.may_be_of(held.identity):
        return False
    table = record.block_table
    return not table.size or int(table["block"][-1]) < held.head


def missing_blocks(record: Record) -> int:
    """Number of blocks missing between the first and the last of a record."""
    numbers = record.block_table["block"].astype(np.int64)
    return int(numbers[-1] - numbers[0] + 1 - numbers.size) if numbers.size else 0


def complete(path: Path) -> DropOutcome:
    """Finish a record that a killed program left, from the data on disk alone.

    Raises
    ------
    RecordError
        If it is missing, finished already, or cannot be written.
    """
    writer = RecordWriter.resume(path)
    writer.finish("recovered", "completed from the data that the receiver had put on disk")
    record = open_record(path)
    table = record.block_table
    first = int(table["block"][0]) if table.size else 0
    return DropOutcome(path, False, first, missing_blocks(record), 0, list(record.events))


def unfinished_record(folder: Path, held: Held) -> Path | None:
    """The unfinished record of that event in a folder.

    Of several, the one with most of the event's data, then the newest.
    """
    found: list[tuple[int, Path]] = []
    for record in readable_records(folder):
        if record.unfinished and is_begun_of(record, held):
            known = fingerprint_of(record)
            found.append((0 if known is None else len(known.traits), record.path))
    return max(found)[1] if found else None
