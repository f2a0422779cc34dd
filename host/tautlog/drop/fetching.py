"""Fetching: the event that a board still holds goes into the record where it belongs.

Terminal and desk fetch in this one way. A whole record that holds the event already is enough; an
unfinished record of the event is completed; only else is a new one made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tautlog.board.session import Session
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.recovery import Held, Known, already_in, recover, unfinished_record
from tautlog.drop.stop import StopRequest


@dataclass(frozen=True)
class Place:
    """Where an event goes.

    Attributes
    ----------
    folder : Path
        Is searched for its record.
    new : callable
        Set-up and calibration of a new record, and its path; asked only if one is made.
    record : Path or None
        The unfinished record to complete, if somebody names it.
    """

    folder: Path
    new: Callable[[], tuple[Known, Path]]
    record: Path | None = None


def fetch_event(
    session: Session, held: Held, place: Place, stop: StopRequest, say: Callable[[str], None]
) -> DropOutcome | Path:
    """Fetch the event, or find the whole record that holds it.

    Returns
    -------
    outcome : DropOutcome or Path
        Of the record that was completed or made; or the path of that which held all already.

    Raises
    ------
    AbortedError, RefusedError, RecordError, LinkError
        See `recover`.
    """
    folder = place.folder if place.record is None else place.record.parent
    whole, notes = already_in(session, held, folder)
    for note in notes:
        say(f"LOOK: {note}")
    if whole is not None:
        say(f"the board's event is already in {whole}, complete and verified: no new record")
        return whole
    record = place.record or unfinished_record(place.folder, held)
    if record is not None:
        say(f"completing {record}, which a receiver left unfinished")
        return recover(session, record, held=held, stop=stop)
    known, path = place.new()
    outcome = recover(session, path, known, held, stop)
    say(f"no unfinished record of this event in {place.folder}: a new record was made")
    return outcome
