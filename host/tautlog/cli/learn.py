"""``tautlog learn``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.model import quantities as q
from tautlog.model.origin import MARK

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.line import Line
    from tautlog.planning.learning import Learned
    from tautlog.planning.prediction import Prediction


@click.command(name="learn")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--line", metavar="NAME", help="Which line; the campaign's without.")
@click.option(
    "--mass", "mass_kg", type=options.Number(q.MASS), metavar="KG", help="Of the next drop."
)
@click.option(
    "--height", "height_m", type=options.Number(q.HEIGHT), metavar="M", help="Of the next drop."
)
@options.rehearsed_option
@options.json_option
def command(
    folder: Path | None,
    line: str | None,
    mass_kg: float | None,
    height_m: float | None,
    rehearsed: bool,
    as_json: bool,
) -> None:
    """Learn stiffness, damping, friction and delay from the drops of a line.

    Only valid drops whose load path held are learned from; the others are named with the
    reason. Then: measured over predicted, the next drop with its band, and go on or stop.
    Rehearsals are left out; with --rehearsed nothing but them is learned from.
    """
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError
    from tautlog.planning.learning import advice
    from tautlog.planning.lessons import learn_line

    campaign = options.here(to_drop=False)
    where = folder or options.folder_here()
    name = line if line is not None else (campaign.setup.line if campaign else "")
    if rehearsed:
        # A rehearsed line is no line of the campaign.
        learned = learn_line(where, name, rehearsed=True)
        click.echo(f"{MARK}: learned of simulated drops, which says nothing of a line", err=True)
    else:
        learned = _learned(where, name, campaign.line(name) if campaign else None)
    last = learned.lessons[-1]
    setup = campaign.setup if campaign else None
    mass = mass_kg or (setup.mass_kg if setup else None) or last.mass_kg
    height = height_m or (setup.height_m if setup else None) or last.height_m
    following = _following(campaign if not rehearsed else None, learned, mass, height)
    go, why = advice(learned)
    if as_json:
        result: dict[str, Any] = asdict(learned)
        result["next"] = {
            key: value if value == value else None for key, value in asdict(following).items()
        }
        result["next"]["n"] = learned.n
        result["go_on"], result["why"] = go, why
        print_json(result)
    else:
        _show(learned)
        click.echo(
            f"next, {mass:.4g} kg from {height:.3f} m: {following.peak_force_n:.0f} N, "
            f"{following.peak_low_n:.0f} to {following.peak_high_n:.0f} N, as `tautlog plan` says; "
            f"the line's stiffness is that of {learned.n} drop{'s' * (learned.n != 1)}, its "
            "uncertainty by Student's t"
        )
        click.echo(("GO ON: " if go else "STOP: ") + why)
    if learned.unreadable:
        names = ", ".join(learned.unreadable)
        raise RecordError(f"learned without {len(learned.unreadable)} files, see above: {names}")


def _following(
    campaign: Campaign | None, learned: Learned, mass_kg: float, height_m: float
) -> Prediction:
    """The next drop, as plan and gate reckon with it."""
    from tautlog.model.trace import DropSetup
    from tautlog.planning.expected import Expectations
    from tautlog.planning.planned_drop import PlannedDrop
    from tautlog.planning.prediction import predict_drop

    setup = DropSetup(mass_kg=mass_kg, height_m=height_m, line=learned.line.name)
    drop = Expectations(campaign).drop(setup) if campaign else None
    return predict_drop(drop or PlannedDrop(mass_kg, height_m, learned.line, learned.friction_n))


def _learned(where: Path, name: str, known: Line | None) -> Learned:
    """What the records tell; a folder of nothing but rehearsals is told as such."""
    from tautlog.archive.catalogue import catalogued
    from tautlog.errors import PlanError
    from tautlog.planning.lessons import learn_line

    try:
        return learn_line(where, name, known)
    except PlanError as problem:
        if any(one.rehearsed for one in catalogued(where)):
            raise PlanError(f"{problem}; rehearsals teach nothing (--rehearsed)") from problem
        raise


def _show(learned: Any) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    one = learned.line
    click.echo(
        f"line {one.name or 'not named'}: {one.stiffness_n_per_m:.5g} N/m +/- "
        f"{200 * one.stiffness_u_fraction:.1f} % (k = 2), "
        f"hardening {one.hardening_per_m2:.3g} / m2, damping {one.damping_ratio:.3f}, "
        f"{one.drops} drops since new; from {one.source}"
    )
    friction = "not known" if learned.friction_n is None else f"{learned.friction_n:.1f} N"
    delay = "not told" if learned.delay_s is None else f"{1000 * learned.delay_s:.1f} ms"
    click.echo(f"friction {friction}, delay of the latch {delay}")
    table = Table(box=None, pad_edge=False)
    for name in ("record", "kg", "m", "peak N", "measured / predicted", "stiffness N/m"):
        table.add_column(name, justify="left" if name == "record" else "right")
    for lesson, ratio in zip(learned.lessons, learned.ratios, strict=True):
        table.add_row(
            escape(lesson.name),
            f"{lesson.mass_kg:.4g}",
            f"{lesson.height_m:.3f}",
            f"{lesson.peak_n:.0f}",
            f"{ratio:.3f}",
            f"{lesson.stiffness_n_per_m:.5g}",
        )
    Console(highlight=False, width=120).print(table)
    for name, reason in learned.refused:
        click.echo(f"not learned from {name}: {reason}")
