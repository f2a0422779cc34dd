"""An event that the board still holds: shown at the desk, and fetched when the crew says so."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.campaign.campaign import Campaign
from tautlog.drop.fetching import Place, fetch_event
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.recovery import KEPT, Known, held_event
from tautlog.drop.stop import StopRequest
from tautlog.files.record_path import next_record_path
from tautlog.model.trace import DropSetup

HELD = "held"  # the board's state


def fetch_held(
    campaign: Campaign,
    setup: DropSetup,
    port: str,
    stop: StopRequest,
    say: Callable[[str], None],
    *,
    timeout_scale: float = 1.0,
) -> Path:
    """Fetch it into its record; the record's path.

    Parameters
    ----------
    setup : DropSetup
        That of a new record, if no unfinished one is of this event.

    Raises
    ------
    TautlogError
        See `fetch_event`; the board still holds the event then.
    """

    def new() -> tuple[Known, Path]:
        known = Known(setup, campaign.calibration, campaign.channels)
        return known, next_record_path(campaign.folder, setup.article)

    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        held = held_event(session)
        outcome = fetch_event(session, held, Place(campaign.folder, new), stop, say)
    if not isinstance(outcome, DropOutcome):
        return outcome
    say(f"the event came {KEPT.get(outcome.kept, outcome.kept)}")
    for note in outcome.notes:
        say(f"LOOK: {note}")
    return outcome.path
