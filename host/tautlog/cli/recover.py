"""``tautlog recover``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.campaign import Campaign
    from tautlog.cli.console import ConsoleCrew
    from tautlog.outcome import DropOutcome


@click.command(name="recover")
@click.argument("record", type=click.Path(path_type=Path), required=False)
@options.port_options
@options.setup_options
@options.out_option
@options.cfc_option
@options.json_option
def command(
    record: Path | None,
    port: str | None,
    timeout_scale: float,
    out: Path | None,
    cfc: str | None,
    as_json: bool,
    **setup: Any,
) -> None:
    """Bring home what a drop left behind, and say which way it came.

    With a port: the event that the board still holds, into the unfinished record
    of the same board, or into a new one. With a RECORD that a killed program left
    unfinished and no port: complete it from what is on disk.
    """
    from tautlog.cli.conduct import show_outcome
    from tautlog.cli.console import ConsoleCrew
    from tautlog.recovery import KEPT, complete

    crew = ConsoleCrew(yes=True, quiet=as_json)
    campaign = options.here()
    if record is not None and port is None:
        outcome = complete(record)
        crew.say("completed from what was on this computer's disk; no board was asked")
    else:
        port = options.port_of(port, campaign)
        outcome = _from_board(port, record, out, campaign, setup, timeout_scale, crew)
        crew.say(f"the event came {KEPT.get(outcome.kept, outcome.kept)}")
    show_outcome(outcome, crew, cfc=options.class_of(cfc), as_json=as_json)


def _from_board(
    port: str,
    record: Path | None,
    out: Path | None,
    campaign: Campaign | None,
    setup: dict[str, Any],
    timeout_scale: float,
    crew: ConsoleCrew,
) -> DropOutcome:
    """Fetch the event into the record it belongs to."""
    from tautlog.calibration import Calibration
    from tautlog.link import SerialLink
    from tautlog.recovery import Known, recover, unfinished_record
    from tautlog.session import Session

    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        if record is None:
            folder = out if out is not None and out.suffix != ".h5" else None
            folder = folder or (campaign.folder if campaign else Path())
            record = unfinished_record(folder, session.greet().serial)
        if record is not None:
            crew.say(f"completing {record}, which a receiver left unfinished")
            return recover(session, record)
        known = Known(
            options.setup_of(campaign, setup),
            campaign.calibration if campaign else Calibration(),
        )
        path = options.record_path(out, campaign, known.setup.article)
        outcome = recover(session, path, known)
        crew.say(f"there was no unfinished record of this board in {folder}: a new one was made")
        return outcome
