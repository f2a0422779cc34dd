"""``tautlog health``."""

from __future__ import annotations

from dataclasses import asdict

import click

from tautlog.cli import options


@click.command(name="health")
@options.port_options
@click.option("--watch", is_flag=True, help="Go on reading until Ctrl-C.")
@options.json_option
def command(port: str | None, timeout_scale: float, watch: bool, as_json: bool) -> None:
    """Read the instrument while nothing happens."""
    from tautlog.calibration import Calibration
    from tautlog.cli.console import health_text
    from tautlog.cli.output import print_json
    from tautlog.health import read_health
    from tautlog.link import SerialLink
    from tautlog.plausibility import refuse_doubtful
    from tautlog.session import Session

    campaign = options.here()
    port = options.port_of(port, campaign)
    calibration = campaign.calibration if campaign else Calibration()
    doubts = campaign.calibration_doubts if campaign else ()
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        instrument = session.greet()
        health = read_health(session, calibration)
        if as_json:
            print_json({**asdict(instrument), **asdict(health), "calibration_doubts": list(doubts)})
            refuse_doubtful(doubts)
            return
        click.echo(f"board: {instrument.board}, firmware {instrument.firmware}, {instrument.state}")
        click.echo(health_text(health))
        refuse_doubtful(doubts)
        while watch:
            click.echo(health_text(read_health(session, calibration)))
