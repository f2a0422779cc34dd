"""``tautlog recover``."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.cli.console import ConsoleCrew
    from tautlog.drop.outcome import DropOutcome
    from tautlog.drop.stop import StopRequest
    from tautlog.model.display_units import Units


@click.command(name="recover")
@click.argument("record", type=click.Path(path_type=Path), required=False)
@options.port_options
@options.setup_options
@options.out_option
@options.cfc_option
@units_option
@options.shown_options
def command(
    record: Path | None,
    port: str | None,
    timeout_scale: float,
    out: Path | None,
    cfc: str | None,
    named: tuple[str, ...],
    every_figure: bool,
    as_json: bool,
    **setup: Any,
) -> None:
    """Recover what a drop left behind, and say where it came from.

    With a port: fetch the event that the board still holds, into its unfinished record or into
    a new record. If a whole record holds it already, the program says so, and the board forgets
    its copy. With a RECORD that a killed program left unfinished, and no port: complete it from
    what is on disk. Ctrl-C and SIGTERM end it between two blocks: the board still holds the
    event, and the next call goes on.
    """
    from tautlog.cli.conduct import Shown, show_outcome
    from tautlog.cli.console import ConsoleCrew
    from tautlog.drop.recovery import KEPT, complete
    from tautlog.drop.stop import StopRequest

    campaign = options.here()
    units = units_of(campaign, named)
    crew = ConsoleCrew(yes=True, quiet=as_json, units=units)
    with StopRequest().listening() as stop:
        if record is not None and port is None:
            outcome = complete(record)
            crew.say("completed from what was on this computer's disk; no board was asked")
        else:
            port = options.port_of(port, campaign)
            found = _from_board(port, record, out, campaign, setup, timeout_scale, crew, stop)
            if isinstance(found, Path):
                _show_known(found, as_json, units)
                return
            outcome = found
            crew.say(f"the event came {KEPT.get(outcome.kept, outcome.kept)}")
        shown = Shown.asked(every_figure=every_figure, as_json=as_json)
        show_outcome(outcome, crew, cfc=options.class_of(cfc), shown=shown, stop=stop, units=units)


@contextlib.contextmanager
def _aborted_if_stopped(stop: StopRequest) -> Iterator[None]:
    """Turn the first signal into an error, while nothing is being written."""
    from tautlog.errors import AbortedError

    try:
        with stop.at_once():
            yield
    except KeyboardInterrupt as problem:
        raise AbortedError(
            f"stopped by {stop.why}: no record was made or changed; the board still holds its "
            "event, and `tautlog recover` fetches it"
        ) from problem


def _show_known(path: Path, as_json: bool, units: Units) -> None:
    """Show a whole record that already holds the event."""
    from tautlog.archive.assess import assess
    from tautlog.archive.kept_marks import as_json as plain
    from tautlog.archive.kept_marks import keep_marks
    from tautlog.cli.console import print_verdict
    from tautlog.cli.output import print_json
    from tautlog.record import open_record

    record = open_record(path)
    assessment = assess(record)
    if not record.marks:
        keep_marks(record, assessment)
    picture = path.with_suffix(".png")
    if as_json:
        drawn = str(picture) if picture.exists() else None
        print_json({"record": str(path), "picture": drawn, "marks": plain(assessment)})
        return
    tell(f"record  {path}")
    print_verdict(dataclasses.replace(assessment, units=units))


def _from_board(
    port: str,
    record: Path | None,
    out: Path | None,
    campaign: Campaign | None,
    setup: dict[str, Any],
    timeout_scale: float,
    crew: ConsoleCrew,
    stop: StopRequest,
) -> DropOutcome | Path:
    """Fetch the event into its record; return the path of a record that already holds all."""
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.drop.fetching import Place, fetch_event
    from tautlog.drop.recovery import Known, held_event
    from tautlog.model.calibration import Calibration

    def new() -> tuple[Known, Path]:
        known = Known(
            options.setup_of(campaign, setup),
            campaign.calibration if campaign else Calibration(),
            campaign.channels if campaign else (),
        )
        return known, options.record_path(out, campaign, known.setup.article)

    folder = out if out is not None and out.suffix != ".h5" else None
    folder = folder or (campaign.folder if campaign else Path())
    with _aborted_if_stopped(stop):
        port_link = SerialLink(port)
    with port_link as link:
        session = Session(link, timeout_scale=timeout_scale)
        with _aborted_if_stopped(stop):
            held = held_event(session)
        return fetch_event(session, held, Place(folder, new, record), stop, crew.say)
