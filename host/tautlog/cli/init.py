"""``tautlog init``."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="init")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
def command(folder: Path) -> None:
    """Make a campaign: a folder with a commented campaign.toml."""
    from tautlog.campaign.new_campaign import write_new_campaign

    click.echo(f"{write_new_campaign(folder)}: read it and enter your own figures")
