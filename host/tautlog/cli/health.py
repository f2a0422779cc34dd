"""``tautlog health``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.board.readiness import Finding


@click.command(name="health")
@options.port_options
@click.option("--watch", is_flag=True, help="Go on reading until Ctrl-C.")
@options.target_option
@options.json_option
def command(
    port: str | None, timeout_scale: float, watch: bool, target_n: float | None, as_json: bool
) -> None:
    """Read the instrument while nothing happens, and say whether a drop may be armed so.

    The same is judged as before a drop, with the shunt's step where one is fitted. Exit
    status 1 where a drop would be refused.
    """
    from tautlog.board.link import SerialLink
    from tautlog.board.readiness import findings, read_facts, refuse
    from tautlog.board.session import Session
    from tautlog.calibrate.plausibility import refuse_doubtful
    from tautlog.calibrate.validity import validity
    from tautlog.campaign.fitted_shunt import shunt_of
    from tautlog.cli.console import health_text
    from tautlog.cli.output import print_json
    from tautlog.model.calibration import Calibration
    from tautlog.model.timestamp import today

    campaign = options.here()
    port = options.port_of(port, campaign)
    calibration = campaign.calibration if campaign else Calibration()
    zero_v = campaign.amplifier.zero_v if campaign else None
    setup = options.setup_of(campaign, {"target_n": target_n})
    shunt = shunt_of(campaign, calibration, asked=False)
    doubts = campaign.calibration_doubts if campaign else ()
    if campaign:
        counts = validity(calibration, today())
        doubts += tuple(one.text.removeprefix("calibration: ") for one in counts if one.refuses)
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        instrument = session.greet()
        facts = read_facts(session, calibration, setup, shunt, stated_zero_v=zero_v)
        found = findings(facts)
        if as_json:
            told: dict[str, Any] = {"calibration_doubts": list(doubts)}
            told["findings"] = [asdict(one) | {"text": one.text} for one in found]
            step = {"shunt_step_v": facts.shunt_step_v}
            print_json({**asdict(instrument), **asdict(facts.health), **step, **told})
            refuse_doubtful(doubts)
            refuse(found)
            return
        click.echo(f"board: {instrument.board}, firmware {instrument.firmware}, {instrument.state}")
        click.echo(health_text(facts.health))
        while watch:
            _show(found, refused=True)
            facts = read_facts(session, calibration, setup, None, stated_zero_v=zero_v)
            found = [one for one in findings(facts) if one.code != "shunt-none"]
            click.echo(health_text(facts.health))
        if facts.shunt_step_v is not None:
            click.echo(f"shunt step {facts.shunt_step_v:.4f} V")
        _show(found)
        refuse_doubtful(doubts)
        refuse(found)


def _show(found: list[Finding], *, refused: bool = False) -> None:
    for one in found:
        if one.refuses and refused:
            click.echo(f"NO DROP: {one.text}")
        elif not one.refuses:
            click.echo(f"LOOK: {one.text}")
