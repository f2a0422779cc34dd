"""``tautlog init``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli.output import tell
from tautlog.model.origin import MARK


@click.command(name="init")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
@click.option(
    "--practice",
    is_flag=True,
    help="A campaign to practise the whole day with, on a rehearsed rig; nothing in it counts.",
)
def command(folder: Path, practice: bool) -> None:
    """Make a campaign: a folder with a commented campaign.toml."""
    from tautlog.campaign.new_campaign import PRACTICE_PORT, write_new_campaign

    made = write_new_campaign(folder, practice=practice)
    if not practice:
        tell(f"{made}: read it and enter your own figures")
        return
    tell(f"{made}: {MARK}, its figures are those of the rehearsed rig")
    tell(
        f"serve that rig with `tautlog rehearse --serve {PRACTICE_PORT}`, or by `tautlog desk "
        "--practice`; `help` lists what hands can do at it"
    )
