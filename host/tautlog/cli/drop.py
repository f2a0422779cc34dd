"""``tautlog drop``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tautlog.cli import options
from tautlog.cli.drop_permit import override_options
from tautlog.cli.looked import looked_option, require_looked, stay_out_now
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model import quantities as q


@click.command(name="drop")
@options.port_options
@options.setup_options
@options.out_option
@click.option(
    "--hand-release",
    "by_hand",
    is_flag=True,
    help="Wait for a hand to pull the pin; do not drive the latch.",
)
@click.option("--yes", is_flag=True, help="Do not ask for the phrase; for scripts.")
@click.option(
    "--countdown",
    "countdown_s",
    type=options.Number(q.COUNTDOWN),
    default=5.0,
    metavar="S",
    show_default=True,
    help="Countdown from arming to the release command.",
)
@click.option(
    "--record",
    "record_s",
    type=options.Number(q.RECORDING),
    default=7.0,
    metavar="S",
    show_default=True,
    help="How long to record after the release.",
)
@click.option(
    "--shunt",
    is_flag=True,
    help="Read the shunt's step before and after, even if campaign.toml states no shunt_ohm.",
)
@override_options
@looked_option
@options.live_option
@options.cfc_option
@units_option
@options.shown_options
def command(
    port: str | None,
    timeout_scale: float,
    out: Path | None,
    by_hand: bool,
    yes: bool,
    countdown_s: float,
    record_s: float,
    shunt: bool,
    override_by: str | None,
    override_reason: str | None,
    looked_by: str | None,
    live: bool,
    cfc: str | None,
    named: tuple[str, ...],
    every_figure: bool,
    as_json: bool,
    **setup: Any,
) -> None:
    """Do one drop: health, arming, release, recording, marks, verdict, picture.

    The program first judges what the instrument reads, and the shunt's step where a shunt is
    fitted; what is wrong forbids the drop. To arm, type a phrase; a countdown follows.

    Before the release, Ctrl-C, SIGTERM, a closed terminal or a broken pipe call the drop off;
    the board then returns to its state `safe`, drive low. After the release, Ctrl-C or a second
    SIGTERM end the recording early, and three of them leave the event on the board, for
    `tautlog recover`; a closed terminal or a broken pipe change nothing. While the finished
    record is marked, they only skip what is still to be read from the board.
    """
    from tautlog.campaign.fitted_shunt import shunt_of
    from tautlog.cli.conduct import Shown, show_outcome
    from tautlog.cli.drop_permit import permitted
    from tautlog.cli.live_crew import crew_for
    from tautlog.drop.conducting import conduct
    from tautlog.drop.granting import count_elsewhere
    from tautlog.drop.outcome import DropPlan
    from tautlog.drop.stop import StopRequest
    from tautlog.model.calibration import Calibration

    campaign = options.here()
    port, units = options.port_of(port, campaign), units_of(campaign, named)
    calibration = campaign.calibration if campaign else Calibration()
    require_looked(campaign, looked_by)
    with crew_for(calibration, record_s, live=live, yes=yes, quiet=as_json, units=units) as crew:
        plan = DropPlan(
            path=Path(),
            permit=permitted(
                campaign, options.setup_of(campaign, setup), override_by, override_reason, crew
            ),
            units=units,
            by_hand=by_hand,
            countdown_s=countdown_s,
            record_s=record_s,
            shunt=shunt_of(campaign, calibration, shunt),
        )
        plan = plan.at(options.record_path(out, campaign, plan.setup.article))
        kept = plan.path
        with StopRequest().listening() as stop:
            try:
                outcome = conduct(port, plan, crew, stop, timeout_scale=timeout_scale)
                kept = outcome.path
            finally:
                count_elsewhere(campaign, plan.setup, kept)
            if keep_away := stay_out_now(campaign):
                crew.say(keep_away)
            shown = Shown.asked(every_figure=every_figure, as_json=as_json)
            show_outcome(
                outcome, crew, cfc=options.class_of(cfc), shown=shown, stop=stop, units=units
            )
