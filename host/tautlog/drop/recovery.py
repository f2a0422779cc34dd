"""Recovery: what a drop left behind, on the board or on disk, brought home.

The events are fetched first: they tell which drop it is, so that it goes into the record
that was begun of it, and into no second one where a whole record holds it already.
"""

from __future__ import annotations

from dataclasses import dataclass
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
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.drop.keeping import forget, still_held
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.recording import AGAIN_S, ENDING_S
from tautlog.drop.stop import StopRequest
from tautlog.errors import (
    AbortedError,
    LinkTimeoutError,
    RecordError,
    RecordGoneError,
    RefusedError,
)
from tautlog.model.calibration import Calibration
from tautlog.model.stream import BoardEvent
from tautlog.model.trace import DropSetup
from tautlog.record import Record, RecordWriter, open_record

NOTHING_FROM = (1 << 30) - 1  # a block number that no board has come to: events alone
# What a board says of where an event was, in words.
KEPT = {
    "memory": "from the board's memory",
    "flash": "from the board's flash, where it had been copied",
    "reset": "from the board's memory, which a reset had spared",
}

HOLDS = "the board still holds the event, and `tautlog recover` goes on with it"


class _Stopped(Exception):
    """Somebody wants it to end."""


@dataclass(frozen=True)
class Known:
    """What is known of a drop whose record is made afterwards."""

    setup: DropSetup
    calibration: Calibration


@dataclass(frozen=True)
class Held:
    """The event that a board holds, as it tells of it.

    Attributes
    ----------
    identity : Fingerprint
        By what it is known again.
    oldest, head : int
        Its first block, and the one after its last.
    kept : str
        Where it was, see KEPT.
    """

    identity: Fingerprint
    oldest: int
    head: int
    kept: str


def held_event(session: Session) -> Held:
    """Greet a board and ask which event it holds.

    Raises
    ------
    RefusedError
        If it holds none.
    LinkError, BoardError
        If it does not answer, or nothing of ours does.
    """
    instrument = session.greet()
    if instrument.state != "held":
        raise RefusedError(
            f"the board is {instrument.state} and holds no event: there is nothing to recover"
        )
    answer = session.ask("fetch", **{"from": NOTHING_FROM})
    head, oldest = int(str(answer["head"])), int(str(answer["oldest"]))
    # Read without a receiver: nothing is on disk, and so nothing is acknowledged.
    events: dict[int, BoardEvent] = {}
    deadline = session.clock() + AGAIN_S * session.scale
    while events_lacking(list(events.values())) and session.clock() < deadline:
        for message in session.pump():
            if isinstance(message, BoardEvent):
                events.setdefault(message.number, message)
    identity = fingerprint(instrument.serial, events.values())
    return Held(identity, oldest, head, str(answer.get("kept", "memory")))


def already_in(session: Session, held: Held, folder: Path) -> tuple[Path | None, list[str]]:
    """Look for a whole record of the event, and let the board forget it if there is one.

    Returns
    -------
    path : Path or None
        The record that holds all of it, verified; the board forgot its copy. None where it
        must be fetched.
    notes : list of str
        What was found, in plain words.
    """
    notes = []
    for record in records_of(folder, held.identity):
        lacks = what_lacks(record, held)
        if lacks:
            notes.append(f"{record.path} is of the same event, and {lacks}")
            continue
        notes += forget(session, partial(_must_be_whole, record, held))
        return record.path, notes
    return None, notes


def _must_be_whole(record: Record, held: Held) -> None:
    """Look at the file again, now that the board is about to forget its copy."""
    lacks = what_lacks(open_record(record.path), held)
    if lacks:
        raise RecordError(f"{record.path} was whole and is not: {lacks}", path=str(record.path))


def what_lacks(record: Record, held: Held) -> str:
    """Why a record does not make the board's copy needless; "" if it does."""
    if record.status not in ("complete", "recovered"):
        return f"its status is {record.status}"
    if record.verify_seal().state != "intact":
        return "its seal is not intact"
    numbers = record.block_table["block"]
    if not numbers.size or int(numbers[-1]) + 1 < held.head:
        return "it ends before what the board holds"
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
        A record that a killed receiver left, to be completed; or, with what is known, the
        record to make.
    known : Known, optional
        Set-up and calibration of the new record.
    held : Held, optional
        What `held_event` told; it is asked without.
    stop : StopRequest, optional
        Looked at between two steps; once all is here the record is finished first.

    Raises
    ------
    AbortedError
        If somebody stopped it: the board holds the event still, and what came is on disk.
    RefusedError
        If the board holds nothing.
    RecordError
        If the record is finished already, is another board's, or of another drop.
    """
    held = held or held_event(session)
    writer = _writer(session, path, known, held)
    first = max(writer.next_block, held.oldest)
    receiver = Receiver(session, writer, first, reception=writer.reception)
    try:
        _fetch(session, receiver, writer, held, stop or StopRequest())
    except _Stopped as problem:
        raise AbortedError(f"stopped by {problem}: {_put_away(writer, known)}; {HOLDS}") from None
    return DropOutcome(
        path=path,
        early=False,
        first_block=first,
        missing_blocks=missing_blocks(open_record(path)),
        damaged=session.damaged,
        events=receiver.events,
        kept=held.kept,
        notes=forget(session, writer.must_be_there),
    )


def _fetch(
    session: Session, receiver: Receiver, writer: RecordWriter, held: Held, stop: StopRequest
) -> None:
    """Take what the board holds, and finish the record of it."""
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
    """Close a record that is not whole, and say where it is; a new one of nothing goes."""
    if known is not None and not writer.next_block:
        writer.withdraw()
        return "no record was made"
    writer.leave()
    return f"what came is in {writer.path}, which is not finished"


def _writer(session: Session, path: Path, known: Known | None, held: Held) -> RecordWriter:
    """The record to complete, or a new one where what goes into it is known."""
    if known is None:
        _refuse_stranger(open_record(path), held)
        return RecordWriter.resume(path)
    return RecordWriter.create(
        path, setup=known.setup, calibration=known.calibration, instrument=session.instrument
    )


def _from(held: Held) -> str:
    return KEPT.get(held.kept, held.kept)


def _receive(session: Session, receiver: Receiver, head: int, stop: StopRequest) -> None:
    """Take all blocks, and all events that the board sends."""
    events_s = None
    while receiver.expected < head or receiver.events_lacking():
        if stop.asked:
            raise _Stopped(stop.why)
        receiver.step()
        now_s = session.clock()
        if receiver.expected >= head:
            # All blocks are here: an event that is not will not come, and that is told.
            events_s = now_s if events_s is None else events_s
            if now_s > events_s + AGAIN_S * session.scale:
                break
        elif now_s > receiver.progress_s + ENDING_S * session.scale:
            raise LinkTimeoutError("the board stopped sending before the event was complete")
    receiver.commit()


def _refuse_stranger(record: Record, held: Held) -> None:
    path, known = record.path, record.instrument
    serial = held.identity.serial
    if known is None or known.serial != serial:
        seen = "an imported trace" if known is None else f"from board {known.serial}"
        raise RecordError(
            f"{path} is {seen}, the board at the port is {serial}: its event goes into another "
            "record; leave RECORD out and one is found or made",
            path=str(path),
        )
    if record.status == "recording" and not is_begun_of(record, held):
        raise RecordError(
            f"{path} was begun of another drop than the one that the board holds: leave RECORD "
            f"out and one is found or made; `tautlog recover {path}` without a port completes "
            "this one from what is on disk",
            path=str(path),
        )


def is_begun_of(record: Record, held: Held) -> bool:
    """Whether an unfinished record is of the event that the board holds, as far as it tells."""
    known = fingerprint_of(record)
    if known is None or not known.may_be_of(held.identity):
        return False
    table = record.block_table
    return not table.size or int(table["block"][-1]) < held.head


def missing_blocks(record: Record) -> int:
    """Blocks between the first and the last of a record that are not in it."""
    numbers = record.block_table["block"].astype(np.int64)
    return int(numbers[-1] - numbers[0] + 1 - numbers.size) if numbers.size else 0


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
    return DropOutcome(path, False, first, missing_blocks(record), 0, list(record.events))


def unfinished_record(folder: Path, held: Held) -> Path | None:
    """The record in a folder that a receiver of that event left unfinished.

    The one that knows most of the event, and of these the newest.
    """
    found: list[tuple[int, Path]] = []
    for record in readable_records(folder):
        if record.unfinished and is_begun_of(record, held):
            known = fingerprint_of(record)
            found.append((0 if known is None else len(known.traits), record.path))
    return max(found)[1] if found else None
