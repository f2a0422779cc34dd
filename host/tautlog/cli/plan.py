"""``tautlog plan``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.errors import PlanError, QuantityError
from tautlog.model import quantities as q
from tautlog.model.quantities import Quantity

if TYPE_CHECKING:
    from tautlog.model.display_units import Units
    from tautlog.model.flight import FlightLoad
    from tautlog.planning.plan import Plan
    from tautlog.planning.wanted import Wanted

# What the options hold that take several numbers, in their order.
SNATCH = {"body": q.CANOPY, "canopy": q.CANOPY, "speed": q.SPEED, "stiffness": q.STIFFNESS}
OPENING = {
    "drag area": q.DRAG_AREA,
    "speed": q.SPEED,
    "opening factor": q.OPENING_FACTOR,
    "mass": q.CANOPY,
    "filling time": q.FILLING,
}
ROPE_FALL = {"impact force": q.FORCE, "mass": q.MASS, "fall factor": q.FALL_FACTOR}

SOLVE = ("mass", "height", "stiffness", "length")


@click.command(name="plan")
@options.intended_options
@click.option(
    "--stiffness",
    "stiffness_n_per_m",
    type=Number(q.STIFFNESS),
    metavar="N/M",
    help="Stiffness of line and rig at zero stretch; the line's hardening and damping stay.",
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
    "9000,80,1.77; gives EA in place of --modulus.",
)
@click.option(
    "--length", "length_m", type=Number(q.LENGTH), metavar="M", help="Length of the line."
)
@click.option(
    "--pull",
    "pulls",
    type=str,
    multiple=True,
    metavar="N:M",
    help="Point of a static pull, force:stretch; repeat it to find the hardening, too.",
)
@click.option(
    "--hardening",
    "hardening_per_m2",
    type=Number(q.HARDENING),
    metavar="1/M2",
    help="Hardening b in F = k x (1 + b x2).",
)
@click.option(
    "--damping",
    "damping_ratio",
    type=Number(q.DAMPING),
    metavar="FRACTION",
    help="Damping ratio, a fraction of critical.",
)
@click.option(
    "--friction", "friction_n", type=Number(q.FRICTION), metavar="N", help="Friction of the rails."
)
@click.option(
    "--flight",
    type=str,
    metavar="KG,KG,M/S,N/M",
    help="Snatch in flight: body, canopy, relative speed, stiffness. Its load is the target.",
)
@click.option(
    "--opening",
    type=str,
    metavar="M2,M/S,CX,KG,S",
    help="Opening of a canopy in flight: Cd S, speed, opening factor, mass below it, filling "
    "time. Its load is the target.",
)
@click.option(
    "--factor",
    type=Number(q.FACTOR),
    metavar="X",
    help="Design factor times test factor on the flight load.",
)
@click.option(
    "--solve", type=click.Choice(SOLVE), help="Find this value so that the drop meets the aim."
)
@click.option("--ladder", is_flag=True, help="Show the drops that lead up to it.")
@click.option(
    "--odds",
    is_flag=True,
    help="Show the height that makes a proof most likely, and what to measure better.",
)
@click.option(
    "--steps",
    metavar="SHARES",
    help="Steps of the ladder as shares of the load, such as 0.25,0.5,0.75,1.",
)
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw force over time."
)
@units_option
@options.json_option
def command(
    ladder: bool,
    odds: bool,
    steps: str | None,
    picture: Path | None,
    as_json: bool,
    named: tuple[str, ...],
    pulls: tuple[str, ...],
    flight: str | None,
    opening: str | None,
    rope_fall: str | None,
    **given: Any,
) -> None:
    """Predict a drop, or find the drop that meets a target.

    Values that you leave out come from the campaign. One value that is still unknown is solved
    for, so that the target is proven within the uncertainty of the calibration. Rig, mount,
    cell, amplifier and load path are checked against the prediction.
    """
    from tautlog.cli import plan_json, plan_table
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.planning.plan import plan

    campaign = options.here(to_drop=False)
    units = units_of(campaign, named, si=as_json)
    planned = plan(campaign, _wanted(given, pulls, _flight(flight, opening), rope_fall), units)
    rungs = planned.ladder(_shares(steps)) if ladder or steps else ()
    found = planned.odds() if odds else None
    if picture is not None:
        _draw(planned, picture, units_of(campaign, named))
    if as_json:
        print_json(plan_json.as_json(planned, rungs, found))
        return
    tell(CAUTION)
    plan_table.show(planned, rungs)
    if odds:
        plan_table.show_odds(found, units)
    if picture is not None:
        tell(f"picture {picture}")


def _wanted(
    given: dict[str, Any],
    pulls: tuple[str, ...],
    flight: FlightLoad | None,
    rope_fall: str | None,
) -> Wanted:
    """What the options ask for."""
    from tautlog.model.line import rope_modulus_n
    from tautlog.planning.wanted import Wanted

    values = {name: value for name, value in given.items() if value is not None}
    if rope_fall:
        if "modulus_n" in values:
            raise PlanError("--modulus and --rope-fall both state EA of the line: give one of them")
        rated = _numbers("--rope-fall", rope_fall, "9000,80,1.77", ROPE_FALL)
        values["modulus_n"] = q.MODULUS.require("EA by --rope-fall", rope_modulus_n(*rated))
    return Wanted(**values, pulls=tuple(_point(text) for text in pulls), flight=flight)


def _numbers(option: str, text: str, example: str, kinds: Mapping[str, Quantity]) -> list[float]:
    """Numbers between commas, one of each kind, as strictly as an option of its own."""
    typed = text.split(",")
    if len(typed) != len(kinds):
        raise PlanError(f"{option} {text[:60]}: expected {', '.join(kinds)}, such as {example}")
    return [
        _typed(f"{option} {name}", one, kind)
        for (name, kind), one in zip(kinds.items(), typed, strict=True)
    ]


def _typed(name: str, text: str, kind: Quantity) -> float:
    """One number of an option that takes several."""
    try:
        return kind.typed(text)
    except QuantityError as problem:
        raise QuantityError(f"{name}: {problem}") from problem


def _flight(flight: str | None, opening: str | None) -> FlightLoad | None:
    """Snatch or opening in flight, as typed."""
    from tautlog.model.flight import Opening, Snatch

    if flight and opening:
        raise PlanError("--flight and --opening both state the load in flight: give one of them")
    if flight:
        return Snatch(*_numbers("--flight", flight, "25,1.2,20,30000", SNATCH))
    if opening:
        return Opening(*_numbers("--opening", opening, "2,30,1.7,10,0.5", OPENING))
    return None


def _point(text: str) -> tuple[float, float]:
    """A point of a static pull, as typed."""
    force, colon, stretch = text.partition(":")
    if not colon:
        raise PlanError(f"--pull {text[:60]}: expected force:stretch, such as 500:0.018")
    return _typed("--pull force", force, q.FORCE), _typed("--pull stretch", stretch, q.STRETCH)


def _shares(text: str | None) -> tuple[float, ...]:
    """Shares of a ladder, as typed."""
    from tautlog.planning.ladder import LADDER

    if text is None:
        return LADDER
    return tuple(_typed("--steps", share, q.STEP) for share in text.split(","))


def _draw(planned: Plan, path: Path, units: Units) -> None:
    """Draw the predicted force over time to a new file."""
    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.prediction import draw_prediction
    from tautlog.planning.prediction import force_curve

    drop = planned.drop
    title = (
        f"predicted: {units.text(drop.mass_kg, 'kg', '.4g')} from "
        f"{units.text(drop.height_m, 'm', '.3f')} on {drop.line.name}, "
        f"{units.text(drop.line.stiffness_n_per_m, 'N/m', '.4g')}"
    )
    figure = draw_prediction(
        *force_curve(drop),
        planned.prediction,
        title,
        target_n=planned.target_n,
        limit_n=planned.upper_n,
        units=units,
    )
    save(figure, path)
