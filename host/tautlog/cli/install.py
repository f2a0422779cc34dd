"""``tautlog install``."""

from __future__ import annotations

from dataclasses import asdict

import click

from tautlog.cli import options
from tautlog.cli.output import tell


@click.command(name="install")
@options.port_options
@click.option(
    "--fresh-config",
    is_flag=True,
    help="Replace the board's config.py, too; your changes in it are lost.",
)
@options.json_option
def command(port: str | None, timeout_scale: float, fresh_config: bool, as_json: bool) -> None:
    """Put the firmware on a board with MicroPython 1.28 or later.

    Every file is verified by its SHA-256. If the installation is interrupted, the board starts
    at MicroPython's prompt with all pins as inputs; install again.
    """
    from tautlog.board.installer import install
    from tautlog.cli.output import print_json

    done = install(
        options.port_of(port, options.here(to_drop=False)),
        fresh_config=fresh_config,
        timeout_scale=timeout_scale,
        say=lambda text: tell(text, err=True) if not as_json else None,
    )
    if as_json:
        print_json(asdict(done))
        return
    tell(f"{len(done.written)} files written and verified, {len(done.unchanged)} were up to date")
    if done.kept_config:
        tell("config.py on the board was kept")
    tell(f"firmware {done.instrument.firmware} runs, board {done.instrument.serial}")
