"""``tautlog health``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.board.finding import ReadinessFinding
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.calibration import Calibration


@click.command(name="health")
@options.port_options
@click.option("--watch", is_flag=True, help="Keep reading until Ctrl-C.")
@options.target_option
@options.json_option
def command(
    port: str | None, timeout_scale: float, watch: bool, target_n: float | None, as_json: bool
) -> None:
    """Read the instrument at rest, and say whether a drop may be armed.

    The program judges the same things as before a drop, with the shunt's step where a shunt is
    fitted. Exit status 1 if a drop would be refused.
    """
    from tautlog.board.link import SerialLink
    from tautlog.board.readiness import findings, read_facts, refuse
    from tautlog.board.session import Session
    from tautlog.calibrate.plausibility import refuse_doubtful
    from tautlog.campaign.fitted_shunt import shunt_of
    from tautlog.cli.console import channel_texts, health_text, readback_texts
    from tautlog.cli.output import print_json
    from tautlog.model.calibration import Calibration
    from tautlog.model.window import fall_time_s, guarded_window

    campaign = options.here()
    port = options.port_of(port, campaign)
    calibration = campaign.calibration if campaign else Calibration()
    zero_v = campaign.amplifier.zero_v if campaign else None
    channels = campaign.channels if campaign else ()
    setup = options.setup_of(campaign, {"target_n": target_n})
    doubts = _doubts(campaign, calibration)
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        board = session.greet()
        fitted = shunt_of(campaign, calibration, asked=False)
        facts = read_facts(
            session, calibration, setup, fitted, stated_zero_v=zero_v, channels=channels
        )
        found = findings(facts)
        window = guarded_window(board)
        shunt = {"shunt_step_v": facts.shunt_step_v, "shunt_looks_like_n": _shunt_n(campaign)}
        if as_json:
            judged = {"calibration_doubts": list(doubts), "findings": _as_json(found)}
            guarded = {"guarded_before_s": window.before_s, "guarded_after_s": window.after_s}
            print_json({**asdict(board), **asdict(facts.health), **shunt, **guarded, **judged})
        else:
            click.echo(f"board: {board.board}, firmware {board.firmware}, {board.state}")
            if board.regulator:
                click.echo(f"the board's supply: {board.regulator}")
            click.echo(health_text(facts.health))
            click.echo(window.check(fall_time_s(setup.height_m))[1])
            for line in channel_texts(board, facts.health, channels):
                click.echo(line)
            for line in readback_texts(board, facts.health):
                click.echo(line)
            while watch:
                _show(found, refused=True)
                facts = read_facts(
                    session, calibration, setup, None, stated_zero_v=zero_v, channels=channels
                )
                found = [finding for finding in findings(facts) if finding.code != "shunt-none"]
                click.echo(health_text(facts.health))
                for line in readback_texts(board, facts.health):
                    click.echo(line)
            _show_shunt(**shunt)
            _show(found)
        refuse_doubtful(doubts)
        refuse(found)


def _doubts(campaign: Campaign | None, calibration: Calibration) -> tuple[str, ...]:
    """Why the calibration must not be used today."""
    from tautlog.calibrate.validity import validity
    from tautlog.model.timestamp import today

    if campaign is None:
        return ()
    expired = [check.text for check in validity(calibration, today()) if check.refuses]
    texts = tuple(text.removeprefix("calibration: ") for text in expired)
    return campaign.calibration_doubts + texts


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


def _show_shunt(shunt_step_v: float | None, shunt_looks_like_n: float | None) -> None:
    if shunt_step_v is None:
        return
    load = (
        "" if shunt_looks_like_n is None else f", like {shunt_looks_like_n:.0f} N by the data sheet"
    )
    click.echo(f"shunt step {shunt_step_v:.4f} V{load}")


def _show(found: list[ReadinessFinding], *, refused: bool = False) -> None:
    for finding in found:
        if finding.refuses and refused:
            click.echo(f"NO DROP: {finding.text}")
        elif not finding.refuses:
            click.echo(f"LOOK: {finding.text}")
