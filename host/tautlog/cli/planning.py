"""What `tautlog plan` works out and shows."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import mount_name
from tautlog.errors import PlanError
from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.line import STIFFNESS_U_FRACTION, Line, stiffness_of_pull, stiffness_of_rope
from tautlog.model.load_path import PathCheck
from tautlog.model.names import meant
from tautlog.model.uncertainty import extrapolation_u
from tautlog.planning.electronics import advise
from tautlog.planning.flight import Snatch
from tautlog.planning.gate import findings
from tautlog.planning.intended import electrics_of, intended_for
from tautlog.planning.lines import line_for
from tautlog.planning.prediction import (
    HOLD,
    LADDER,
    STOP_RULES,
    Aim,
    Drop,
    Prediction,
    Step,
    aim_for,
    force_curve,
    ladder,
    predict_drop,
    solve_height,
    solve_mass,
    solve_stiffness,
)

AGREES = 0.002  # of a force that was solved for and one that is predicted
ROPE_CHOICES = ("stiffness", "modulus", "pulls")


@dataclass(frozen=True)
class Missed:
    """A plan that does not meet its target.

    Attributes
    ----------
    by_n, off_target : float
        Predicted peak less the aim; its relative distance from the target.
    text : str
        In words, and what would meet it.
    """

    by_n: float
    off_target: float
    text: str


@dataclass(frozen=True)
class Planned:
    """A plan: the drop, what it will do, what is aimed at, and what was checked."""

    drop: Drop
    prediction: Prediction
    target_n: float | None
    limit_n: float | None
    aim: Aim | None
    solved: str
    checks: tuple[PathCheck, ...]
    flight: Snatch | None = None
    factor: float = 1.0
    length_m: float | None = None
    missed: Missed | None = None


def plan(campaign: Campaign | None, given: dict[str, Any]) -> Planned:
    """Work out a plan from options and campaign.

    Raises
    ------
    PlanError
        With what lacks or contradicts, and how to mend it.
    """
    _check_choices(given)
    _check_names(campaign, given)
    base = campaign.setup if campaign else None
    flight, factor = _flight(campaign, given)
    if flight is not None:
        if given["target_n"]:
            raise PlanError("--flight and --target both say what is wanted: give one")
        given = {**given, "target_n": factor * flight.force_n}
    target = given["target_n"] or (base.target_n if base else None)
    limit = given["limit_n"] or (base.limit_n if base and not given["target_n"] else None)
    aim = None if target is None else aim_for(target, limit, _u_fraction(campaign, target))
    mass = given["mass_kg"] or (base.mass_kg if base and given["solve"] != "mass" else None)
    height = given["height_m"]
    if height is None and base and given["solve"] != "height":
        height = base.height_m if given["mass_kg"] is None or given["target_n"] is None else None
    free = given["solve"] in ("stiffness", "length")
    line = None if free else line_of(campaign, given)
    friction = given["friction_n"]
    if friction is None and campaign:
        friction = campaign.rig.friction_n
    drop, solved = _solved(mass, height, line, friction, aim, given)
    length = None
    if given["solve"] == "length":
        solved, length = "length", given["modulus"] / drop.line.stiffness_n_per_m
    prediction = predict_drop(drop)
    found = checks(campaign, drop, prediction, given, target)
    return Planned(
        drop,
        prediction,
        target,
        limit,
        aim,
        solved,
        tuple(found),
        flight,
        factor,
        length,
        None if aim is None or target is None else missed(drop, prediction, aim, target),
    )


def _check_names(campaign: Campaign | None, given: dict[str, Any]) -> None:
    """A name that the campaign does not know would plan something else than is meant."""
    if campaign is None:
        return
    known = (
        ("article", tuple(one.name for one in campaign.articles)),
        ("mount", tuple(one.name for one in campaign.mounts)),
    )
    for kind, names in known:
        name = given.get(kind)
        if name and names and name not in names:
            raise PlanError(f"{kind} {name!r} is none of the campaign's; {meant(name, names)}")


def _flight(campaign: Campaign | None, given: dict[str, Any]) -> tuple[Snatch | None, float]:
    """Snatch in flight as typed, and the factor on it, stated or the campaign's."""
    said = campaign.requirement if campaign else None
    factor = given["factor"] or (said.design_factor * said.test_factor if said else 1.0)
    if not given["flight"]:
        return None, factor
    try:
        body, canopy, speed, stiffness = (float(one) for one in given["flight"].split(","))
    except ValueError as problem:
        raise PlanError(
            f"--flight {given['flight']}: expected body, canopy, speed and stiffness, such as "
            "25,1.2,20,30000"
        ) from problem
    for name, value, kind in (
        ("body", body, q.CANOPY),
        ("canopy", canopy, q.CANOPY),
        ("speed", speed, q.SPEED),
        ("stiffness", stiffness, q.STIFFNESS),
    ):
        kind.require(f"--flight {name}", value)
    return Snatch(body, canopy, speed, stiffness), factor


def _check_choices(given: dict[str, Any]) -> None:
    """Options that contradict each other; their ranges were checked as they came in."""
    told = [name for name in ROPE_CHOICES if given.get(name)]
    if len(told) > 1:
        raise PlanError(f"{' and '.join(told)} both say how stiff the line is: give one")
    if given.get("solve") == "length":
        if not given.get("modulus") or given.get("length_m"):
            raise PlanError("--solve length needs --modulus, EA of the line, and no --length")
    elif given.get("modulus") and not given.get("length_m"):
        raise PlanError("--modulus needs --length: the stiffness is EA / L")


def _u_fraction(campaign: Campaign | None, target_n: float) -> float:
    """Expanded relative uncertainty of a peak, from the calibration and what lies beyond it."""
    calibration = campaign.calibration if campaign else Calibration()
    beyond = extrapolation_u(target_n, calibration.range_n) / target_n
    return math.hypot(calibration.expanded_u_at_n(target_n) / target_n, 2.0 * beyond)


def line_of(campaign: Campaign | None, given: dict[str, Any]) -> Line | None:
    """The line of options and campaign, or None where nothing tells its stiffness.

    A stiffness that is given replaces that of the named line, which keeps its hardening and
    damping unless they are given too.
    """
    name = given.get("line") or (campaign.setup.line if campaign else "") or "line"
    found = line_for(campaign, name) if campaign else None
    if found is None and campaign and (given.get("line") or campaign.lines):
        names = [one.name for one in campaign.lines]
        if given.get("line") or not _tells_line(given):
            raise PlanError(
                f"line {name!r} is neither in campaign.toml nor in its records; "
                f"{meant(name, names)}"
            )
    if given.get("stiffness"):
        found = _replaced(found, name, given["stiffness"], None, "--stiffness")
    elif given.get("modulus"):
        stiffness = stiffness_of_rope(given["modulus"], given["length_m"])
        found = _replaced(found, name, stiffness, None, "--modulus / --length")
    elif given.get("pulls"):
        stiffness, hardening = stiffness_of_pull([_point(one) for one in given["pulls"]])
        found = _replaced(found, name, stiffness, hardening, "--pull")
    if found is None:
        return None
    if given.get("hardening") is not None:
        found = replace(found, hardening_per_m2=given["hardening"])
    if given.get("damping") is not None:
        found = replace(found, damping_ratio=given["damping"])
    return found


def _tells_line(given: dict[str, Any]) -> bool:
    return any(given.get(one) for one in ROPE_CHOICES)


def _replaced(
    known: Line | None, name: str, stiffness: float, hardening: float | None, by: str
) -> Line:
    """A known line with another stiffness, or one of which nothing else is known."""
    if known is None:
        return Line(name, stiffness, hardening or 0.0, source=by)
    kept = "damping" if hardening is not None else "hardening and damping"
    return replace(
        known,
        stiffness_n_per_m=stiffness,
        hardening_per_m2=known.hardening_per_m2 if hardening is None else hardening,
        stiffness_u_fraction=STIFFNESS_U_FRACTION,
        source=f"{by}, in place of {known.stiffness_n_per_m:.5g} N/m; {kept} stay those of "
        f"{known.source}",
    )


def _point(text: str) -> tuple[float, float]:
    force, _, stretch = text.partition(":")
    try:
        point = float(force), float(stretch)
    except ValueError as problem:
        raise PlanError(f"--pull {text}: expected force:stretch, such as 500:0.018") from problem
    q.FORCE.require("--pull force", point[0])
    q.STRETCH.require("--pull stretch", point[1])
    return point


def _solved(
    mass: float | None,
    height: float | None,
    line: Line | None,
    friction: float | None,
    aim: Aim | None,
    given: dict[str, Any],
) -> tuple[Drop, str]:
    """Fill in the one thing that is not known."""
    unknown = [
        name
        for name, value in (("mass", mass), ("height", height), ("stiffness", line))
        if value is None
    ]
    if len(unknown) > 1 or (unknown and aim is None):
        lacking = ", ".join(f"--{name}" for name in unknown)
        more = "" if aim else "; with --target one of them is found"
        raise PlanError(f"not known: {lacking}. Give all but one of them{more}")
    soft = line or Line("line", 1.0, given["hardening"] or 0.0, given["damping"] or 0.0)
    drop = Drop(mass or 1.0, height if height is not None else 1.0, soft, friction)
    if not unknown or aim is None:
        return drop, ""
    solve = {"mass": solve_mass, "height": solve_height, "stiffness": solve_stiffness}
    return solve[unknown[0]](drop, aim.force_n), unknown[0]


def checks(
    campaign: Campaign | None,
    drop: Drop,
    prediction: Prediction,
    given: dict[str, Any],
    target_n: float | None,
) -> list[PathCheck]:
    """What the gate finds of this drop, and advice for the measuring chain."""
    advised = advise(electrics_of(campaign), prediction.peak_high_n, _length_s(prediction))
    if campaign is None:
        return advised
    setup = replace(
        campaign.setup,
        mass_kg=drop.mass_kg,
        height_m=drop.height_m,
        target_n=target_n,
        line=drop.line.name,
        article=given.get("article") or campaign.setup.article,
        mount=mount_name(campaign, given.get("mount")),
    )
    intended = intended_for(campaign, setup, drop.line, drop.friction_n)
    return [*findings(intended), *advised]


def missed(drop: Drop, prediction: Prediction, aim: Aim, target_n: float) -> Missed | None:
    """By how much a drop misses what is to be proven, and what would meet it; or None."""
    peak_n = prediction.peak_force_n
    if aim.low_n * (1 - AGREES) <= peak_n <= max(aim.high_n, aim.force_n) * (1 + AGREES):
        return None
    off = peak_n / target_n - 1.0
    below = peak_n < aim.force_n
    side = "MISSES the target" if below else "GOES BEYOND what can be proven on target"
    ways = []
    for what, solve in (("height", solve_height), ("mass", solve_mass)):
        try:
            one = solve(drop, aim.force_n)
        except PlanError:
            continue
        met = f"{one.height_m:.3f} m" if what == "height" else f"{one.mass_kg:.2f} kg"
        ways.append(f"a {what} of {met}")
    text = (
        f"{side} of {target_n:.0f} N: predicted {peak_n:.0f} N, {100 * off:+.0f} %; aim for "
        f"{aim.force_n:.0f} N. "
    ) + (
        f"With all else as it is, {' or '.join(ways)} meets it"
        if ways
        else "No height or mass meets it"
    )
    return Missed(peak_n - aim.force_n, off, text)


def _length_s(prediction: Prediction) -> float:
    if math.isfinite(prediction.base_duration_s):
        return prediction.base_duration_s
    # It never slackens: four times the rise is the length of a pulse that would.
    return 4.0 * prediction.rise_time_s


def shares_of(text: str | None) -> tuple[float, ...]:
    """Shares of a ladder as typed."""
    if text is None:
        return LADDER
    try:
        return tuple(float(one) for one in text.split(","))
    except ValueError as problem:
        raise PlanError(f"--steps {text}: expected shares such as 0.25,0.5,0.75,1") from problem


def ladder_of(planned: Planned, shares: tuple[float, ...]) -> list[Step]:
    """The ladder to the aim, or to the predicted peak where there is no target."""
    if not shares:
        return []
    top = planned.aim.force_n if planned.aim else planned.prediction.peak_force_n
    return ladder(planned.drop, top, shares)


def draw(planned: Planned, path: Path) -> None:
    """Draw the predicted force over time to a new file."""
    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.prediction import draw_prediction

    drop = planned.drop
    title = (
        f"predicted: {drop.mass_kg:.4g} kg from {drop.height_m:.3f} m on {drop.line.name}, "
        f"{drop.line.stiffness_n_per_m:.4g} N/m"
    )
    time_s, force_n = force_curve(drop)
    figure = draw_prediction(
        time_s,
        force_n,
        planned.prediction,
        title,
        target_n=planned.target_n,
        limit_n=planned.limit_n,
    )
    save(figure, path)


def as_json(planned: Planned, rungs: list[Step]) -> dict[str, Any]:
    """The plan as one object; not a number becomes None."""
    drop, line = planned.drop, planned.drop.line
    result: dict[str, Any] = {
        name: value if math.isfinite(value) else None
        for name, value in asdict(planned.prediction).items()
    }
    result |= {
        "hardening_per_m2": line.hardening_per_m2,
        "damping_ratio": line.damping_ratio,
        "friction_n": drop.friction_n,
        "line": line.name,
        "stiffness_source": "solved" if planned.solved in ("stiffness", "length") else line.source,
        "length_m": planned.length_m,
        "solved": planned.solved or None,
        "target_force_n": planned.target_n,
        "limit_force_n": planned.limit_n,
        "aim_force_n": planned.aim.force_n if planned.aim else None,
        "proven_low_n": planned.aim.low_n if planned.aim else None,
        "proven_high_n": planned.aim.high_n if planned.aim else None,
        "flight": _flight_json(planned),
        "misses": asdict(planned.missed) if planned.missed else None,
        "checks": [asdict(one) for one in planned.checks],
        "ladder": [
            {"fraction": one.fraction, "purpose": one.purpose, **_plain(one.prediction)}
            for one in rungs
        ],
        "hold": HOLD if rungs else None,
        "stop_rules": list(STOP_RULES) if rungs else [],
    }
    return result


def _flight_json(planned: Planned) -> dict[str, float] | None:
    flight = planned.flight
    if flight is None:
        return None
    return {
        **asdict(flight),
        "reduced_mass_kg": flight.reduced_mass_kg,
        "force_n": flight.force_n,
        "duration_s": flight.duration_s,
        "factor": planned.factor,
        "rig_over_flight_duration": _length_s(planned.prediction) / flight.duration_s,
    }


def _plain(prediction: Prediction) -> dict[str, float | None]:
    return {
        name: value if math.isfinite(value) else None for name, value in asdict(prediction).items()
    }


def show(planned: Planned, rungs: list[Step]) -> None:
    """Show a plan."""
    one, line = planned.prediction, planned.drop.line
    found = f" (found: {planned.solved})" if planned.solved else ""
    if planned.length_m is not None:
        found = f" (found: {planned.length_m:.3f} m of line)"
    click.echo(
        f"drop: {one.mass_kg:.4g} kg from {one.height_m:.3f} m on {line.name}, "
        f"{one.stiffness_n_per_m:.5g} N/m{found}"
    )
    if planned.flight:
        _show_flight(planned, planned.flight)
    if planned.length_m is None and not planned.solved and line.source.startswith("--"):
        click.echo(f"stiffness from {line.source}")
    if planned.aim:
        click.echo(f"aim {planned.aim.force_n:.0f} N: {planned.aim.note}")
    rows = (
        (
            "peak",
            f"{one.peak_force_n:.0f} N",
            f"{one.peak_low_n:.0f} to {one.peak_high_n:.0f} N, k = 2 and bedding-in "
            f"(+{100 * line.may_stiffen:.0f} % of stiffness)",
        ),
        ("duration", f"{1000 * one.duration_s:.1f} ms", "above 10 % of the peak"),
        ("rise", f"{1000 * one.rise_time_s:.1f} ms", "10 to 90 %"),
        ("taut to slack", f"{1000 * one.base_duration_s:.1f} ms", ""),
        ("stretch", f"{1000 * one.stretch_m:.0f} mm", "of line and rig"),
        ("speed", f"{one.taut_speed_m_s:.2f} m/s", f"after {one.fall_time_s:.3f} s of fall"),
        ("energy", f"{one.energy_j:.0f} J", "of the sled as the line comes taut"),
        ("impulse", f"{one.impulse_ns:.1f} N s", ""),
    )
    table = Table(box=None, pad_edge=False, show_header=False)
    for row in rows:
        table.add_row(*row)
    console = Console(highlight=False, width=110)
    console.print(table)
    if planned.drop.friction_n is None:
        click.echo("friction is not known: the band reaches lower for it")
    for check in planned.checks:
        word = "holds " if check.holds else "REFUSE" if check.refuses else "LOOK: "
        click.echo(f"  {word} {check.text}")
    if planned.missed:
        click.echo(planned.missed.text)
    if rungs:
        _show_ladder(rungs, console)


def _show_flight(planned: Planned, flight: Snatch) -> None:
    longer = _length_s(planned.prediction) / flight.duration_s
    click.echo(
        f"flight: {flight.force_n:.0f} N x {planned.factor:g} = {planned.target_n:.0f} N; two "
        f"bodies with a reduced mass of {flight.reduced_mass_kg:.3g} kg, "
        f"{1000 * flight.duration_s:.1f} ms"
    )
    click.echo(
        f"on the rig the same peak lasts {longer:.2g} x as long, its impulse is as much larger: it "
        "stands for the flight load in force, not in time"
    )


def _show_ladder(rungs: list[Step], console: Console) -> None:
    table = Table(box=None, pad_edge=False)
    for name in ("load", "height m", "peak N", "band N", "duration ms", "stretch mm", "purpose"):
        table.add_column(name, justify="left" if name == "purpose" else "right")
    for one in rungs:
        p = one.prediction
        table.add_row(
            f"{100 * one.fraction:.0f} %",
            f"{p.height_m:.3f}",
            f"{p.peak_force_n:.0f}",
            f"{p.peak_low_n:.0f} to {p.peak_high_n:.0f}",
            f"{1000 * p.duration_s:.0f}",
            f"{1000 * p.stretch_m:.0f}",
            one.purpose,
        )
    console.print(table)
    click.echo(f"after each step: {HOLD}")
    click.echo("stop at: " + "; ".join(STOP_RULES))
