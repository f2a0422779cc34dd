"""``tautlog plan``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.model import quantities as q

SOLVE = ("mass", "height", "stiffness", "length")


@click.command(name="plan")
@options.intended_options
@click.option(
    "--stiffness",
    type=Number(q.STIFFNESS),
    metavar="N/M",
    help="Of line and rig, at no stretch; hardening and damping stay those of the line.",
)
@click.option(
    "--modulus", type=Number(q.MODULUS), metavar="N", help="EA of the line; needs --length."
)
@click.option("--length", "length_m", type=Number(q.LENGTH), metavar="M", help="Of the line.")
@click.option(
    "--pull",
    "pulls",
    type=str,
    multiple=True,
    metavar="N:M",
    help="A point of a static pull, force:stretch; several give hardening, too.",
)
@click.option(
    "--hardening", type=Number(q.HARDENING), metavar="1/M2", help="b of F = k x (1 + b x2)."
)
@click.option("--damping", type=Number(q.DAMPING), metavar="FRACTION", help="Of critical.")
@click.option(
    "--friction", "friction_n", type=Number(q.FRICTION), metavar="N", help="Of the rails."
)
@click.option(
    "--flight",
    type=str,
    metavar="KG,KG,M/S,N/M",
    help="Snatch in flight: body, canopy, relative speed, stiffness; its load is the target.",
)
@click.option(
    "--factor", type=Number(q.FACTOR), metavar="X", help="Design times test factor on that load."
)
@click.option("--solve", type=click.Choice(SOLVE), help="What is found so that the aim is met.")
@click.option("--ladder", is_flag=True, help="The drops that lead up to it.")
@click.option(
    "--steps",
    metavar="SHARES",
    help="Shares of the load of the ladder, such as 0.25,0.5,0.75,1.",
)
@click.option("--picture", type=click.Path(path_type=Path), metavar="FILE", help="Force over time.")
@options.json_option
def command(
    ladder: bool, steps: str | None, picture: Path | None, as_json: bool, **given: Any
) -> None:
    """Predict a drop, or find the one that meets a target.

    What is left out is taken from the campaign; what is still not known is solved for, so
    that the target is proven with the uncertainty of the calibration. Rig, mount, cell,
    amplifier and load path are held against the prediction.
    """
    from tautlog.cli import planning
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json

    campaign = options.here(to_drop=False)
    planned = planning.plan(campaign, given)
    shares = planning.shares_of(steps) if ladder or steps else ()
    rungs = planning.ladder_of(planned, shares)
    if picture is not None:
        planning.draw(planned, picture)
    if as_json:
        print_json(planning.as_json(planned, rungs))
        return
    click.echo(CAUTION)
    planning.show(planned, rungs)
    if picture is not None:
        click.echo(f"picture {picture}")
