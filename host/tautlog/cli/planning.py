"""What `tautlog plan` works out and shows."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from tautlog.advice import Electrics, advise
from tautlog.calibration import Calibration
from tautlog.campaign import Campaign
from tautlog.catalogue import catalogued
from tautlog.errors import PlanError, RecordError
from tautlog.flight import Snatch
from tautlog.ledger import exposures, read_entries
from tautlog.lessons import learn_line
from tautlog.line import Line, stiffness_of_pull, stiffness_of_rope
from tautlog.loadpath import PathCheck, check_mount, check_path
from tautlog.plan import (
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
from tautlog.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.uncertainty import extrapolation_u

ROPE_CHOICES = ("stiffness", "modulus", "pulls")


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


def plan(campaign: Campaign | None, given: dict[str, Any]) -> Planned:
    """Work out a plan from options and campaign.

    Raises
    ------
    PlanError
        With what lacks or contradicts, and how to mend it.
    """
    _check_ranges(given)
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
    return Planned(
        drop,
        prediction,
        target,
        limit,
        aim,
        solved,
        tuple(checks(campaign, drop, prediction)),
        flight,
        factor,
        length,
    )


def _flight(campaign: Campaign | None, given: dict[str, Any]) -> tuple[Snatch | None, float]:
    """Snatch in flight as typed, and the factor on it, stated or the campaign's."""
    said = campaign.requirement if campaign else None
    factor = given["factor"] or (said.design_factor * said.test_factor if said else 1.0)
    if not (factor > 0 and math.isfinite(factor)):
        raise PlanError(f"--factor {factor:g}: allowed is a number > 0")
    if not given["flight"]:
        return None, factor
    try:
        body, canopy, speed, stiffness = (float(one) for one in given["flight"].split(","))
    except ValueError as problem:
        raise PlanError(
            f"--flight {given['flight']}: expected body, canopy, speed and stiffness, such as "
            "25,1.2,20,30000"
        ) from problem
    return Snatch(body, canopy, speed, stiffness), factor


def _check_ranges(given: dict[str, Any]) -> None:
    for name in ("mass_kg", "height_m", "target_n", "limit_n", "stiffness", "modulus", "length_m"):
        value = given.get(name)
        if value is not None and not (value > 0 and math.isfinite(value)):
            raise PlanError(f"{name} = {value:g}: allowed is a number > 0")
    for name in ("hardening", "damping", "friction_n"):
        value = given.get(name)
        if value is not None and not (value >= 0 and math.isfinite(value)):
            raise PlanError(f"{name} = {value:g}: allowed is a number >= 0")
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
    """The line of options and campaign, or None where nothing tells its stiffness."""
    name = given.get("line") or (campaign.setup.line if campaign else "") or "line"
    found = campaign.line(name) if campaign else None
    if given.get("stiffness"):
        found = Line(name, given["stiffness"], source="--stiffness")
    elif given.get("modulus"):
        stiffness = stiffness_of_rope(given["modulus"], given["length_m"])
        found = Line(name, stiffness, source="--modulus / --length")
    elif given.get("pulls"):
        stiffness, hardening = stiffness_of_pull([_point(one) for one in given["pulls"]])
        found = Line(name, stiffness, hardening, source="static pull")
    elif campaign:
        found = _learned(campaign, name, found)
    if found is None and given.get("line") and campaign:
        names = ", ".join(one.name for one in campaign.lines) or "none"
        raise PlanError(
            f"line {name!r} is neither in campaign.toml nor in its records; there are: {names}"
        )
    if found is None:
        return None
    if given.get("hardening") is not None:
        found = replace(found, hardening_per_m2=given["hardening"])
    if given.get("damping") is not None:
        found = replace(found, damping_ratio=given["damping"])
    return found


def _learned(campaign: Campaign, name: str, known: Line | None) -> Line | None:
    """What the campaign's own records say of a line, else what campaign.toml says."""
    try:
        return learn_line(campaign.folder, name, known).line
    except (PlanError, RecordError):
        return known


def _point(text: str) -> tuple[float, float]:
    force, colon, stretch = text.partition(":")
    try:
        point = float(force), float(stretch)
    except ValueError as problem:
        raise PlanError(f"--pull {text}: expected force:stretch, such as 500:0.018") from problem
    if not colon or not all(math.isfinite(one) for one in point):
        raise PlanError(f"--pull {text}: expected force:stretch, such as 500:0.018")
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


def checks(campaign: Campaign | None, drop: Drop, prediction: Prediction) -> list[PathCheck]:
    """Hold rig, mount, load path and measuring chain against the upper end of the band."""
    peak = prediction.peak_high_n
    found: list[PathCheck] = []
    if campaign:
        rig = campaign.rig
        if rig.rails_m is not None:
            needed = drop.height_m + prediction.stretch_m + rig.margin_m
            found.append(
                PathCheck(
                    "rails",
                    needed <= rig.rails_m,
                    f"rails: {drop.height_m:.3f} m free + {prediction.stretch_m:.3f} m stretch + "
                    f"{rig.margin_m:g} m margin = {needed:.3f} m of {rig.rails_m:g} m",
                )
            )
            if rig.catch_energy_j is not None:
                energy = drop.mass_kg * STANDARD_GRAVITY_M_PER_S2 * rig.rails_m
                found.append(
                    PathCheck(
                        "catch",
                        energy <= rig.catch_energy_j,
                        f"catch: {energy:.0f} J without any line, of {rig.catch_energy_j:g} J",
                    )
                )
        if rig.most_mass_kg is not None:
            found.append(
                PathCheck(
                    "mass",
                    drop.mass_kg <= rig.most_mass_kg,
                    f"sled: {drop.mass_kg:.2f} kg of {rig.most_mass_kg:g} kg",
                )
            )
        mount = campaign.mounts[0] if campaign.mounts else None
        found.append(
            check_mount(
                mount,
                peak,
                drops_since_proof(campaign),
                proof_factor=campaign.decision.proof_factor,
            )
        )
        found += check_path(
            campaign.elements, peak, mount_over_article=campaign.decision.mount_over_article
        )
    return found + advise(electrics_of(campaign), peak, _length_s(prediction))


def drops_since_proof(campaign: Campaign) -> int | None:
    """Drops that the first mount has seen since its proof, by records and ledger."""
    if not campaign.mounts:
        return None
    mount = campaign.mounts[0]
    found = exposures(
        catalogued(campaign.folder),
        read_entries(campaign.folder),
        [(mount.name, mount.proven_on)],
    )
    return next((one.drops for one in found if one.kind == "mount"), None)


def _length_s(prediction: Prediction) -> float:
    if math.isfinite(prediction.base_duration_s):
        return prediction.base_duration_s
    # It never slackens: four times the rise is the length of a pulse that would.
    return 4.0 * prediction.rise_time_s


def electrics_of(campaign: Campaign | None) -> Electrics:
    """The measuring chain, as far as the campaign tells it."""
    if campaign is None:
        return Electrics()
    cell, amplifier, calibration = campaign.cell, campaign.amplifier, campaign.calibration
    return Electrics(
        rated_n=cell.rated_n,
        sensitivity_mv_per_v=cell.sensitivity_mv_per_v,
        excitation_v=cell.excitation_v,
        gain=amplifier.gain,
        zero_v=amplifier.zero_v,
        rail_high_v=calibration.rail_high_v,
        reference_v=calibration.reference_v,
        converter_bits=calibration.converter_bits,
        bandwidth_hz=calibration.bandwidth_hz,
    )


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
    from tautlog import picture

    drop = planned.drop
    title = (
        f"predicted: {drop.mass_kg:.4g} kg from {drop.height_m:.3f} m on {drop.line.name}, "
        f"{drop.line.stiffness_n_per_m:.4g} N/m"
    )
    time_s, force_n = force_curve(drop)
    picture.save(picture.draw_prediction(time_s, force_n, as_json(planned, []), title), path)


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
        click.echo(f"  {'holds' if check.holds else 'LOOK: '} {check.text}")
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
