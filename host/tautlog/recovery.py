"""Recovery: what a drop left behind, on the board or on disk, brought home."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tautlog.armed import ENDING_S, forget, still_held
from tautlog.calibration import Calibration
from tautlog.errors import (
    LinkTimeoutError,
    RecordError,
    RecordGoneError,
    RefusedError,
)
from tautlog.outcome import DropOutcome
from tautlog.receiver import Receiver
from tautlog.record import RecordWriter, open_record
from tautlog.session import Session
from tautlog.trace import DropSetup

# What a board says of where an event was, in words.
KEPT = {
    "memory": "from the board's memory",
    "flash": "from the board's flash, where it had been copied",
    "reset": "from the board's memory, which a reset had spared",
}


@dataclass(frozen=True)
class Known:
    """What is known of a drop whose record is made afterwards."""

    setup: DropSetup
    calibration: Calibration


def recover(session: Session, path: Path, known: Known | None = None) -> DropOutcome:
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
    if known is None:
        _refuse_stranger(path, instrument.serial)
        writer = RecordWriter.resume(path)
    else:
        writer = RecordWriter.create(
            path, setup=known.setup, calibration=known.calibration, instrument=instrument
        )
    wanted = writer.next_block
    answer = session.ask("fetch", **{"from": wanted})
    head = int(str(answer["head"]))
    first = max(wanted, int(str(answer["oldest"])))
    receiver = Receiver(session, writer, first)
    deadline = session.clock() + ENDING_S * session.scale
    kept = str(answer.get("kept", "memory"))
    try:
        while receiver.expected < head or receiver.event("recording-ended") is None:
            before = receiver.expected
            receiver.step()
            if receiver.expected > before:
                deadline = session.clock() + ENDING_S * session.scale
            if session.clock() > deadline:
                raise LinkTimeoutError("the board stopped sending before the event was complete")
        receiver.commit()
        writer.finish("recovered", f"blocks {first} to {head - 1} came {KEPT.get(kept, kept)}")
    except RecordGoneError as problem:
        raise still_held(problem) from problem
    except BaseException:
        writer.leave()
        raise
    return DropOutcome(
        path=path,
        early=False,
        first_block=first,
        missing_blocks=receiver.missing_blocks,
        damaged=session.damaged,
        events=receiver.events,
        kept=kept,
        notes=forget(session, writer),
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
