"""``tautlog recover``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tautlog.cli import options


@click.command(name="recover")
@options.port_options
@options.setup_options
@options.out_option
@options.cfc_option
@options.json_option
def command(
    port: str | None, timeout_scale: float, out: Path | None, cfc: str, as_json: bool, **setup: Any
) -> None:
    """Fetch the event that a board still holds, and say which way it came.

    An unfinished record of the same board in the folder is completed; otherwise
    a new one is made from options and campaign.
    """
    from tautlog.calibration import Calibration
    from tautlog.cli.conduct import fetch, show_outcome
    from tautlog.cli.console import ConsoleCrew, print_json, print_verdict
    from tautlog.drop import DropPlan, unfinished_record
    from tautlog.link import SerialLink
    from tautlog.session import Session

    campaign = options.here()
    port = port or (campaign.port if campaign else "")
    if not port:
        raise click.UsageError("no port: give --port, or set it in campaign.toml")
    crew = ConsoleCrew(yes=True, quiet=as_json)
    with SerialLink(port) as link:
        serial = Session(link, timeout_scale=timeout_scale).greet().serial
    folder = out if out is not None and out.suffix != ".h5" else None
    folder = folder or (campaign.folder if campaign else Path())
    path, plan = unfinished_record(folder, serial), None
    if path is None:
        plan = DropPlan(
            path=Path(),
            setup=options.setup_of(campaign, setup),
            calibration=campaign.calibration if campaign else Calibration(),
            timeout_scale=timeout_scale,
        )
        path = options.record_path(out, campaign, plan.setup.article)
        crew.say(f"no unfinished record of board {serial} in {folder}: a new one is made")
    else:
        crew.say(f"completing {path}, which a receiver left unfinished")
    outcome = fetch(port, path, plan=plan, timeout_scale=timeout_scale)
    crew.say("the event came from the board's memory")
    marked, picture = show_outcome(outcome, crew, options.class_of(cfc))
    if as_json:
        print_json({"record": str(path), "picture": str(picture), "marks": marked})
        return
    print_verdict(marked)
    click.echo(f"record  {path}\npicture {picture}")
