"""``tautlog recover``."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.looked import stay_out_now
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model.signature import signed

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.cli.console import ConsoleCrew
    from tautlog.drop.giving_up import GivingUp
    from tautlog.drop.outcome import DropOutcome
    from tautlog.drop.stop import StopRequest
    from tautlog.model.display_units import Units

BY_HAND = "enter it in the folder of its campaign with `tautlog ledger --add`"


@click.command(name="recover")
@click.argument("record", type=click.Path(path_type=Path), required=False)
@options.port_options
@options.setup_options
@options.out_option
@click.option(
    "--give-up",
    "gives_up",
    is_flag=True,
    help="Do without what the board never sends: take what it gives, keep the decision, and let "
    "it forget the event. Needs --by and --reason.",
)
@click.option("--by", metavar="NAME", help="Who gives up the rest of an event.")
@click.option("--reason", metavar="TEXT", help="Why, in plain words.")
@options.cfc_option
@units_option
@options.shown_options
def command(
    record: Path | None,
    port: str | None,
    timeout_scale: float,
    out: Path | None,
    gives_up: bool,
    by: str | None,
    reason: str | None,
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

    A board that never sends the whole of its event keeps it, and refuses the next drop. With
    --give-up a named person does without the rest: the record says so and is suspect at best.
    """
    from tautlog.cli.conduct import Shown, show_outcome
    from tautlog.cli.console import ConsoleCrew
    from tautlog.drop.recovery import KEPT, complete
    from tautlog.drop.stop import StopRequest

    campaign = options.here()
    units = units_of(campaign, named)
    crew = ConsoleCrew(yes=True, quiet=as_json, units=units)
    if keep_away := stay_out_now(campaign):
        crew.say(keep_away)  # fetching needs nobody at the rig
    who = _who(by, reason, campaign, gives_up=gives_up)
    with StopRequest().listening() as stop:
        if record is not None and port is None and who is None:
            outcome = complete(record)
            crew.say("completed from what was on this computer's disk; no board was asked")
            _count(campaign, outcome.path, crew)
        else:
            port = options.port_of(port, campaign)
            asked = Asked(record, out, campaign, setup, who)
            found = _from_board(port, asked, timeout_scale, crew, stop)
            if found is None:
                crew.say("the board was told to forget its event; the ledger counts the drop")
                return
            _count(campaign, found if isinstance(found, Path) else found.path, crew)
            if isinstance(found, Path):
                _show_known(found, as_json, units)
                return
            outcome = found
            if outcome.kept:
                crew.say(f"the event came {KEPT.get(outcome.kept, outcome.kept)}")
        shown = Shown.asked(every_figure=every_figure, as_json=as_json)
        show_outcome(outcome, crew, cfc=options.class_of(cfc), shown=shown, stop=stop, units=units)


def _count(campaign: Campaign | None, path: Path, crew: ConsoleCrew) -> None:
    """Count a drop whose record is not in the campaign's folder, or say that nothing counts it."""
    from tautlog.drop.granting import count_elsewhere
    from tautlog.errors import CampaignError
    from tautlog.files.campaign_folder import find_campaign
    from tautlog.record import open_record

    record = open_record(path)
    if record.rehearsed or not record.released or record.given_up:
        return  # what was given up the ledger has already
    if campaign is None:
        if find_campaign(path.absolute().parent) is None:
            crew.say(f"LOOK: no campaign is here, and no ledger counts this drop: {BY_HAND}")
        return
    try:
        counted = count_elsewhere(campaign, record.setup, path, "tautlog recover")
    except CampaignError as problem:
        crew.say(f"LOOK: the ledger does not count this drop ({problem}): {BY_HAND}")
        return
    if counted:
        crew.say("its record is not in the campaign's folder: the ledger counts the drop")


@dataclass(frozen=True)
class Asked:
    """What was asked for: the record, place, campaign, set-up, and who gives up the rest."""

    record: Path | None
    out: Path | None
    campaign: Campaign | None
    setup: dict[str, Any]
    who: GivingUp | None


def _who(
    by: str | None, reason: str | None, campaign: Campaign | None, *, gives_up: bool
) -> GivingUp | None:
    """Who gives up the rest of an event; None if nobody does."""
    from tautlog.drop.giving_up import GivingUp

    if not gives_up:
        if by is not None or reason is not None:
            raise click.UsageError("--by and --reason belong to --give-up")
        return None
    name, why = options.signature_of(by or "", "giving up an event"), signed(reason)
    if not why:
        raise click.BadParameter("giving up an event needs a reason", param_hint="--reason")
    return GivingUp(name, why, campaign.folder if campaign else None)


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
    port: str, asked: Asked, timeout_scale: float, crew: ConsoleCrew, stop: StopRequest
) -> DropOutcome | Path | None:
    """Fetch the event into its record; return the path of a record that already holds all."""
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.drop.fetching import Place, fetch_event
    from tautlog.drop.giving_up import event_of, give_up
    from tautlog.drop.recovery import Known, held_event
    from tautlog.model.calibration import Calibration

    campaign, out = asked.campaign, asked.out

    def new() -> tuple[Known, Path]:
        known = Known(
            options.setup_of(campaign, asked.setup),
            campaign.calibration if campaign else Calibration(),
            campaign.channels if campaign else (),
        )
        return known, options.record_path(out, campaign, known.setup.article)

    folder = out if out is not None and out.suffix != ".h5" else None
    folder = folder or (campaign.folder if campaign else Path())
    place = Place(folder, new, asked.record)
    with _aborted_if_stopped(stop):
        port_link = SerialLink(port)
    with port_link as link:
        session = Session(link, timeout_scale=timeout_scale)
        if asked.who is not None:
            with _aborted_if_stopped(stop):
                event = event_of(session)
            return give_up(session, event, place, asked.who, stop, crew.say)
        with _aborted_if_stopped(stop):
            held = held_event(session)
        return fetch_event(session, held, place, stop, crew.say)
