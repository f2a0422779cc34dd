"""``tautlog plan``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.errors import PlanError
from tautlog.model import quantities as q

if TYPE_CHECKING:
    from tautlog.planning.flight import FlightLoad
    from tautlog.planning.plan import Plan
    from tautlog.planning.wanted import Wanted

SOLVE = ("mass", "height", "stiffness", "length")


@click.command(name="plan")
@options.intended_options
@click.option(
    "--stiffness",
    "stiffness_n_per_m",
    type=Number(q.STIFFNESS),
    metavar="N/M",
    help="Of line and rig, at no stretch; hardening and damping stay those of the line.",
)
@click.option(
    "--modulus",
    "modulus_n",
    type=Number(q.MODULUS),
    metavar="N",
    help="EA of the line; needs --length.",
)
@click.option(
    "--rope-fall",
    metavar="N,KG,FACTOR",
    help="Rated impact force of a dynamic rope, with mass and fall factor of its test, such as "
    "9000,80,1.77: its EA, in place of --modulus.",
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
    "--hardening",
    "hardening_per_m2",
    type=Number(q.HARDENING),
    metavar="1/M2",
    help="b of F = k x (1 + b x2).",
)
@click.option(
    "--damping",
    "damping_ratio",
    type=Number(q.DAMPING),
    metavar="FRACTION",
    help="Of critical.",
)
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
    "--opening",
    type=str,
    metavar="M2,M/S,CX,KG,S",
    help="Opening of a canopy in flight: Cd S, speed, opening factor, mass below it, filling "
    "time; its load is the target.",
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
    ladder: bool,
    steps: str | None,
    picture: Path | None,
    as_json: bool,
    pulls: tuple[str, ...],
    flight: str | None,
    opening: str | None,
    rope_fall: str | None,
    **given: Any,
) -> None:
    """Predict a drop, or find the one that meets a target.

    What is left out is taken from the campaign; what is still not known is solved for, so
    that the target is proven with the uncertainty of the calibration. Rig, mount, cell,
    amplifier and load path are held against the prediction.
    """
    from tautlog.cli import plan_json, plan_table
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.planning.plan import plan

    campaign = options.here(to_drop=False)
    planned = plan(campaign, _wanted(given, pulls, _flight(flight, opening), rope_fall))
    rungs = planned.ladder(_shares(steps)) if ladder or steps else ()
    if picture is not None:
        _draw(planned, picture)
    if as_json:
        print_json(plan_json.as_json(planned, rungs))
        return
    click.echo(CAUTION)
    plan_table.show(planned, rungs)
    if picture is not None:
        click.echo(f"picture {picture}")


def _wanted(
    given: dict[str, Any],
    pulls: tuple[str, ...],
    flight: FlightLoad | None,
    rope_fall: str | None,
) -> Wanted:
    """What was asked for, of all options."""
    from tautlog.model.line import rope_modulus_n
    from tautlog.planning.wanted import Wanted

    told = {name: value for name, value in given.items() if value is not None}
    if rope_fall:
        if "modulus_n" in told:
            raise PlanError("--modulus and --rope-fall both tell EA of the line: give one")
        told["modulus_n"] = rope_modulus_n(*_numbers("--rope-fall", rope_fall, "9000,80,1.77"))
    return Wanted(**told, pulls=tuple(_point(text) for text in pulls), flight=flight)


def _numbers(option: str, text: str, example: str, names: str = "") -> list[float]:
    """Numbers between commas, as many as the example has."""
    try:
        numbers = [float(number) for number in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != len(example.split(",")):
        raise PlanError(f"{option} {text}: expected {names or 'numbers'}, such as {example}")
    return numbers


def _flight(flight: str | None, opening: str | None) -> FlightLoad | None:
    """Snatch or opening in flight, as typed."""
    from tautlog.planning.flight import Opening, Snatch

    if flight and opening:
        raise PlanError("--flight and --opening both say what is pulled in the air: give one")
    if flight:
        names = "body, canopy, speed and stiffness"
        numbers = _numbers("--flight", flight, "25,1.2,20,30000", names)
        for name, number, kind in zip(
            ("body", "canopy", "speed", "stiffness"),
            numbers,
            (q.CANOPY, q.CANOPY, q.SPEED, q.STIFFNESS),
            strict=True,
        ):
            kind.require(f"--flight {name}", number)
        return Snatch(*numbers)
    if opening:
        names = "drag area, speed, opening factor, mass and filling time"
        return Opening(*_numbers("--opening", opening, "2,30,1.7,10,0.5", names))
    return None


def _point(text: str) -> tuple[float, float]:
    """A point of a static pull, as typed."""
    force, _, stretch = text.partition(":")
    try:
        point = float(force), float(stretch)
    except ValueError as problem:
        raise PlanError(f"--pull {text}: expected force:stretch, such as 500:0.018") from problem
    q.FORCE.require("--pull force", point[0])
    q.STRETCH.require("--pull stretch", point[1])
    return point


def _shares(text: str | None) -> tuple[float, ...]:
    """Shares of a ladder, as typed."""
    from tautlog.planning.ladder import LADDER

    if text is None:
        return LADDER
    try:
        return tuple(float(share) for share in text.split(","))
    except ValueError as problem:
        raise PlanError(f"--steps {text}: expected shares such as 0.25,0.5,0.75,1") from problem


def _draw(planned: Plan, path: Path) -> None:
    """Draw the predicted force over time to a new file."""
    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.prediction import draw_prediction
    from tautlog.planning.prediction import force_curve

    drop = planned.drop
    title = (
        f"predicted: {drop.mass_kg:.4g} kg from {drop.height_m:.3f} m on {drop.line.name}, "
        f"{drop.line.stiffness_n_per_m:.4g} N/m"
    )
    figure = draw_prediction(
        *force_curve(drop),
        planned.prediction,
        title,
        target_n=planned.target_n,
        limit_n=planned.limit_n,
    )
    save(figure, path)
