"""``tautlog health``."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.looked import looked_option
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model.signature import signed

if TYPE_CHECKING:
    from tautlog.board.finding import ReadinessFinding
    from tautlog.board.health import Health
    from tautlog.board.readiness import Facts
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.calibration import Calibration
    from tautlog.model.display_units import Units
    from tautlog.model.stream import Instrument


@click.command(name="health")
@options.port_options
@click.option("--watch", is_flag=True, help="Keep reading until Ctrl-C.")
@options.target_option
@click.option(
    "--bring-up", "bringing_up", is_flag=True, help="Try each wire by hand; go on where it stopped."
)
@click.option("--by", default="", metavar="NAME", help="Bring-up: who does it.")
@click.option("--step", default="", metavar="NAME", help="Bring-up: do this one step again.")
@click.option("--anew", is_flag=True, help="Bring-up: do every step again.")
@click.option("--list", "listing", is_flag=True, help="Bring-up: list the steps, do none.")
@click.option(
    "--bench",
    type=click.IntRange(1, 65535),
    metavar="TCP_PORT",
    help="Bring-up of a rehearsed board: let its bench do every step, see `rehearse --bench`.",
)
@options.correction_options("LINE")
@units_option
@looked_option
@options.json_option
def command(
    port: str | None,
    timeout_scale: float,
    watch: bool,
    target_n: float | None,
    bringing_up: bool,
    by: str,
    step: str,
    anew: bool,
    listing: bool,
    bench: int | None,
    supersedes: str | None,
    reason: str,
    named: tuple[str, ...],
    looked_by: str | None,
    as_json: bool,
) -> None:
    """Read the instrument at rest, and say whether a drop may be armed.

    The program judges the same things as before a drop, with the shunt's step where a shunt is
    fitted. Exit status 1 if a drop would be refused.

    With --bring-up it leads through the first day: it says which wire to open or to short, shows
    what is expected beside what the board reads, asks what only a person can see, and keeps it
    all in the campaign. It ARMS the board, with the latch's coil off and a test lamp in its
    place. Without a whole bring-up of this board, with these pins and channels, no drop of the
    campaign is armed.
    """
    if bringing_up:
        from tautlog.cli.bring_up import Asked, bring_up

        asked = Asked(
            by,
            step,
            signed(reason),
            options.number_of(supersedes),
            looked_by,
            anew=anew,
            listing=listing,
            as_json=as_json,
            bench=bench,
        )
        bring_up(port, timeout_scale, asked)
        return
    if by or step or anew or listing or bench or supersedes or reason or looked_by is not None:
        raise click.UsageError(
            "--by, --step, --anew, --list, --bench, --supersedes, --reason and --looked-by go with "
            "--bring-up"
        )
    campaign = options.here()
    units = units_of(campaign, named, si=as_json)
    link = options.port_of(port, campaign), timeout_scale
    _read(campaign, link, target_n, units, watch=watch, as_json=as_json)


def _read(
    campaign: Campaign | None,
    at: tuple[str, float],
    target_n: float | None,
    units: Units,
    *,
    watch: bool,
    as_json: bool,
) -> None:
    """Read the instrument at rest and judge it; `at` is its port, and by what waits are scaled."""
    from tautlog.board.link import SerialLink
    from tautlog.board.readiness import refuse
    from tautlog.board.session import Session
    from tautlog.calibrate.plausibility import refuse_doubtful
    from tautlog.campaign.own_board import require_own_board
    from tautlog.cli.console import channel_texts, health_text, readback_texts
    from tautlog.cli.output import print_json
    from tautlog.drop.at_rest import Believed, without_shunt
    from tautlog.model.calibration import Calibration
    from tautlog.model.window import fall_time_s, guarded_window

    setup = options.setup_of(campaign, {"target_n": target_n})
    believed = Believed(campaign, setup, campaign.calibration if campaign else Calibration())
    doubts = _doubts(campaign, believed.calibration)
    with SerialLink(at[0]) as link:
        session = Session(link, timeout_scale=at[1])
        board = session.greet()
        require_own_board(campaign, board)
        facts = believed.facts(session, shunt=True)
        found = _found(facts, campaign, board, units)
        window = guarded_window(board)
        shunt = {"shunt_step_v": facts.shunt_step_v, "shunt_looks_like_n": _shunt_n(campaign)}
        if as_json:
            judged = {"calibration_doubts": list(doubts), "findings": _as_json(found)}
            memory = {"guarded_before_s": window.before_s, "guarded_after_s": window.after_s}
            print_json({**asdict(board), **asdict(facts.health), **shunt, **memory, **judged})
        else:
            guarded = window.check(fall_time_s(setup.height_m))[1]
            texts = channel_texts(board, facts.health, believed.channels)
            texts += readback_texts(board, facts.health)
            _tell_board(board, [health_text(facts.health, units), guarded, *texts])
            while watch:
                _show(found, refused=True)
                facts = believed.facts(session, shunt=False)
                found = without_shunt(_found(facts, campaign, board, units))
                _tell_now(board, facts.health, units)
            _show_shunt(**shunt, units=units)
            _show(found)
        refuse_doubtful(doubts)
        refuse(found)


def _found(
    facts: Facts, campaign: Campaign | None, board: Instrument, units: Units
) -> list[ReadinessFinding]:
    """What is found of the readings and the wires, in the units of display."""
    from tautlog.board.readiness import findings

    return [*findings(replace(facts, units=units)), *_wires(campaign, board)]


def _doubts(campaign: Campaign | None, calibration: Calibration) -> tuple[str, ...]:
    """Why the calibration must not be used today."""
    from tautlog.calibrate.validity import validity
    from tautlog.model.timestamp import today

    if campaign is None:
        return ()
    expired = [check.text for check in validity(calibration, today()) if check.refuses]
    texts = tuple(text.removeprefix("calibration: ") for text in expired)
    return campaign.calibration_doubts + texts


def _tell_now(board: Instrument, health: Health, units: Units) -> None:
    from tautlog.cli.console import health_text, readback_texts

    for line in (health_text(health, units), *readback_texts(board, health)):
        tell(line)


def _tell_board(board: Instrument, texts: list[str]) -> None:
    tell(f"board: {board.board}, firmware {board.firmware}, {board.state}")
    if board.regulator:
        tell(f"the board's supply: {board.regulator}")
    for text in texts:
        tell(text)


def _wires(campaign: Campaign | None, board: Instrument) -> list[ReadinessFinding]:
    """Whether the board's wires were brought up, by the guard that `drop` asks."""
    from tautlog.board.finding import ReadinessFinding
    from tautlog.campaign.bring_ups import proving_of
    from tautlog.model.proven_wiring import MEND, unproven

    why = "" if campaign is None else unproven(proving_of(campaign, board))
    if not why:
        return []
    seen = f"wiring: {why.removesuffix(f': {MEND}')}"
    return [ReadinessFinding("wiring-unproven", True, seen, "each wire tried by hand", MEND)]


def _shunt_n(campaign: Campaign | None) -> float | None:
    """Force that the campaign's shunt simulates, by the cell's data sheet."""
    from tautlog.planning.electronics_advice import shunt_step_n
    from tautlog.planning.intended import electrics_of

    cell = campaign.cell if campaign else None
    if cell is None or not cell.bridge_ohm or not cell.shunt_ohm:
        return None
    return shunt_step_n(electrics_of(campaign), cell.bridge_ohm, cell.shunt_ohm)


def _as_json(found: list[ReadinessFinding]) -> list[dict[str, Any]]:
    return [asdict(finding) | {"text": finding.text} for finding in found]


def _show_shunt(shunt_step_v: float | None, shunt_looks_like_n: float | None, units: Units) -> None:
    if shunt_step_v is None:
        return
    load = ""
    if shunt_looks_like_n is not None:
        load = f", like {units.text(shunt_looks_like_n, 'N')} by the data sheet"
    tell(f"shunt step {shunt_step_v:.4f} V{load}")


def _show(found: list[ReadinessFinding], *, refused: bool = False) -> None:
    for finding in found:
        if finding.refuses and refused:
            tell(f"NO DROP: {finding.text}")
        elif not finding.refuses:
            tell(f"LOOK: {finding.text}")
