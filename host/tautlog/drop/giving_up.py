"""Giving up: a named person does without what a board never sends of its event.

A board that withholds a block would keep its event for ever, and no drop would follow. Whatever it
still gives is fetched first. Name and reason go into the record and the ledger; only then is
the board told to let go. The record is suspect for it, or worse.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from tautlog.board.session import Session
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.drop.fetching import Place, fetch_event
from tautlog.drop.keeping import forget, lacking
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.recovery import Held, Known, complete, held_event, unfinished_record
from tautlog.drop.stop import StopRequest
from tautlog.errors import BoardError, LinkTimeoutError, RecordError, RefusedError
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.signature import signed
from tautlog.model.stream import Instrument
from tautlog.model.timestamp import stamp
from tautlog.record import Record, add_given_up, open_record
from tautlog.record.own_doubts import given_up_words

HELD = "held"  # the board's state
FINISHED = ("complete", "recovered")


@dataclass(frozen=True)
class GivingUp:
    """Who gives up, and why.

    Attributes
    ----------
    by, reason : str
        A readable name, and a reason.
    ledger : Path or None
        Folder of the campaign whose ledger keeps it; None without a campaign.

    Raises
    ------
    RefusedError
        If name or reason is missing.
    """

    by: str
    reason: str
    ledger: Path | None

    def __post_init__(self) -> None:
        if not signed(self.by) or not signed(self.reason):
            raise RefusedError("to give up an event needs the name of who does it, and a reason")


@dataclass(frozen=True)
class Untold:
    """An event of which the board tells nothing that can be used, and why."""

    problem: str


def event_of(session: Session) -> Held | Untold:
    """The event that a board holds, whether or not it tells what it is.

    Raises
    ------
    RefusedError
        If it holds none, or is armed.
    LinkError, BoardError
        If no tautlog board answers.
    """
    if session.greet().state != HELD:
        return held_event(session)  # it may still be recording, or refuses
    try:
        return held_event(session)
    except (BoardError, LinkTimeoutError) as problem:
        if session.greet().state != HELD:
            raise
        return Untold(str(problem))


def give_up(
    session: Session,
    event: Held | Untold,
    place: Place,
    who: GivingUp,
    stop: StopRequest,
    say: Callable[[str], None],
) -> DropOutcome | Path | None:
    """Fetch what the board gives of its event, keep the decision, and let the board forget it.

    Returns
    -------
    outcome : DropOutcome, Path or None
        Of the record that was completed or made; the path of one that held as much already;
        None if the board told nothing and there is no record.

    Raises
    ------
    RefusedError
        If nothing is lacking, or nothing would remain of the drop.
    AbortedError, LinkError, RecordError, CampaignError
        The board keeps its event.
    """
    found = _fetched(session, event, place, stop, say)
    board = session.greet()
    if board.state != HELD:
        say("the board gave all of its event: nothing was given up, and no decision is kept")
        return found
    path = found.path if isinstance(found, DropOutcome) else found
    record = None if path is None else open_record(path)
    lacks = what_is_given_up(record, event, board)
    if record is not None:
        add_given_up(record.path, by=who.by, reason=who.reason, lacks=lacks)
    _enter(who, record, place, board, lacks)
    notes = forget(session, partial(_must_be_kept, record))
    told = given_up_words(who.by, who.reason, lacks)
    if isinstance(found, DropOutcome):
        return replace(found, notes=(told, *notes))
    for text in (told, *notes):
        say(f"LOOK: {text}")
    return found


def what_is_given_up(record: Record | None, event: Held | Untold, board: Instrument) -> str:
    """What is lost if the board forgets its event now, in words; the guard of giving up.

    Parameters
    ----------
    record : Record or None
        The record of the event as it stands; None if there is none.
    event : Held or Untold
        The board's event.
    board : Instrument
        The board.

    Raises
    ------
    RefusedError
        If the record is not finished, not intact, or another board's; or if nothing is lost.
    """
    if record is None:
        if isinstance(event, Held):
            raise RefusedError("nothing of the event is in a record: it is not given up")
        return f"no record was made, for the board tells nothing of its event ({event.problem})"
    whose = None if record.instrument is None else record.instrument.serial
    if whose != board.serial:
        raise RefusedError(f"{record.path} is not of board {board.serial}: it is not given up")
    if record.status not in FINISHED or record.verify_seal().state != "intact":
        raise RefusedError(f"{record.path} is not finished and intact: its event is not given up")
    if isinstance(event, Untold):
        return f"the board tells nothing of its event ({event.problem})"
    there = record.block_table["block"].astype(np.int64)
    came = int(np.count_nonzero((there >= event.oldest) & (there < event.head)))
    if never := event.head - event.oldest - came:
        return (
            f"{never} of the {event.head - event.oldest} block(s) that the board claims to hold "
            "never came"
        )
    events = [
        replace(one, sample_index=one.sample_index + record.first_sample_index)
        for one in record.events
    ]
    lacks = lacking(events, board.samples_per_block, event.oldest, event.head)
    if not lacks:
        raise RefusedError(
            f"{record.path} holds all of the event: nothing is to be given up. `tautlog recover` "
            "asks the board again to forget it"
        )
    return lacks


def _fetched(
    session: Session,
    event: Held | Untold,
    place: Place,
    stop: StopRequest,
    say: Callable[[str], None],
) -> DropOutcome | Path | None:
    """Take what the board gives; the record with it is finished."""
    if isinstance(event, Untold):
        say(f"the board tells nothing of its event that can be used: {event.problem}")
        return None if place.record is None else _finished(place.record)
    made: list[Path] = []

    def new() -> tuple[Known, Path]:
        known, path = place.new()
        made.append(path)
        return known, path

    try:
        return fetch_event(session, event, replace(place, new=new), stop, say)
    except (BoardError, LinkTimeoutError) as problem:
        begun = made[0] if made else place.record or unfinished_record(place.folder, event)
        if begun is None:
            raise
        say(f"{problem}: what came before is kept")
        return _finished(begun)


def _finished(path: Path) -> DropOutcome | Path:
    return complete(path) if open_record(path).unfinished else path


def _enter(
    who: GivingUp, record: Record | None, place: Place, board: Instrument, lacks: str
) -> None:
    """Keep the decision in the ledger; the drop counts there if no record of it does.

    Raises
    ------
    RefusedError
        If neither a record nor a ledger would keep it.
    CampaignError
        If the ledger cannot be written.
    """
    if who.ledger is None:
        if record is None:
            raise RefusedError(
                "nothing would remain of the drop: name its RECORD, or work in a campaign, whose "
                "ledger counts it"
            )
        return
    setup = record.setup if record is not None else place.new()[0].setup
    counted = record is not None and record.path.parent.resolve() == who.ledger.resolve()
    counted = counted or board_is_rehearsed(board.board, board.serial)
    named = {} if counted else {one: getattr(setup, one) for one in ("article", "line", "mount")}
    entry = LedgerEntry(
        stamp(),
        who.by,
        **named,
        note=f"{who.reason} (board {board.serial}: {lacks})",
        given_up=f"board {board.serial}" if record is None else record.path.name,
    )
    add_entry(who.ledger, entry)


def _must_be_kept(record: Record | None) -> None:
    """Check the file again before the board forgets its event."""
    if record is None:
        return
    again = open_record(record.path)
    if again.verify_seal().state != "intact" or not again.given_up:
        raise RecordError(f"{record.path} is not as it was finished", path=str(record.path))
