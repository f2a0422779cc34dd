"""``tautlog learn``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model import quantities as q
from tautlog.model.origin import MARK

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.display_units import Units
    from tautlog.planning.learning import Learned
    from tautlog.planning.prediction import Prediction


@click.command(name="learn")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--line", metavar="NAME", help="Name of the line (default: the campaign's).")
@click.option(
    "--mass", "mass_kg", type=options.Number(q.MASS), metavar="KG", help="Mass of the next drop."
)
@click.option(
    "--height",
    "height_m",
    type=options.Number(q.HEIGHT),
    metavar="M",
    help="Height of the next drop.",
)
@options.rehearsed_option
@units_option
@options.json_option
def command(
    folder: Path | None,
    line: str | None,
    mass_kg: float | None,
    height_m: float | None,
    rehearsed: bool,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Learn stiffness, damping, friction and delay from the drops of a line.

    Only valid drops whose load path held count; the others are listed with the reason. Then
    follow measured over predicted, the next drop with its band, and whether to go on or stop.
    Rehearsals are left out; with --rehearsed only rehearsals count.
    """
    from tautlog.errors import RecordError
    from tautlog.planning.next_drop import next_drop

    campaign = options.here(to_drop=False)
    where = folder or options.folder_here()
    name = line if line is not None else (campaign.setup.line if campaign else "")
    learned = _learned(where, name, campaign, rehearsed)
    # A rehearsed line is not a line of the campaign.
    following = next_drop(
        learned, campaign, mass_kg=mass_kg, height_m=height_m, as_planned=not rehearsed
    )
    if as_json:
        _print_json(learned, following)
    else:
        units = units_of(campaign, named)
        _show(learned, units)
        _show_next(learned, following, units)
    if learned.unreadable:
        names = ", ".join(learned.unreadable)
        raise RecordError(
            f"{len(learned.unreadable)} files cannot be used and are left out, see above: {names}"
        )


def _learned(where: Path, name: str, campaign: Campaign | None, rehearsed: bool) -> Learned:
    """What the records teach; the error says if there are only rehearsals."""
    from tautlog.archive.catalogue import catalogued
    from tautlog.errors import PlanError
    from tautlog.planning.lessons import learn_line

    if rehearsed:
        learned = learn_line(where, name, rehearsed=True)
        tell(f"{MARK}: learned from simulated drops, which say nothing about a real line", err=True)
        return learned
    try:
        return learn_line(where, name, campaign.line(name) if campaign else None)
    except PlanError as problem:
        if any(record.rehearsed for record in catalogued(where)):
            raise PlanError(f"{problem}; rehearsals teach nothing (--rehearsed)") from problem
        raise


def _print_json(learned: Learned, following: Prediction) -> None:
    from tautlog.cli.output import print_json
    from tautlog.planning.learning import advice

    go, why = advice(learned)
    drop = {name: value if value == value else None for name, value in asdict(following).items()}
    drop["n"] = learned.n
    print_json({**asdict(learned), "next": drop, "go_on": go, "why": why})


def _show_next(learned: Learned, following: Prediction, units: Units) -> None:
    """The next drop with its band, and go on or stop."""
    from tautlog.planning.learning import advice

    go, why = advice(learned)
    tell(
        f"next drop, {units.text(following.mass_kg, 'kg', '.4g')} from "
        f"{units.text(following.height_m, 'm', '.3f')}: {units.text(following.peak_force_n, 'N')}, "
        f"{units.band(following.peak_low_n, following.peak_high_n, 'N')}, as `tautlog plan` says; "
        f"stiffness of the line from {learned.n} drop{'s' * (learned.n != 1)}, its uncertainty "
        "by Student's t"
    )
    tell(("GO ON: " if go else "STOP: ") + why)


def _columns(units: Units) -> tuple[str, ...]:
    force, stiffness = units.of("N").name, units.of("N/m").name
    figures = (units.mass, units.length, f"peak {force}")
    return ("record", *figures, "measured / predicted", f"stiffness {stiffness}")


def _show(learned: Learned, units: Units) -> None:
    from rich.console import Console
    from rich.table import Table

    from tautlog.cli.console import plain_text

    line = learned.line
    tell(
        f"line {line.name or 'not named'}: "
        f"{units.text(line.stiffness_n_per_m, 'N/m', '.5g')} +/- "
        f"{200 * line.stiffness_u_fraction:.1f} % (k = 2), "
        f"hardening {line.hardening_per_m2:.3g} / m2, damping {line.damping_ratio:.3f}, "
        f"{line.drops} drops since new; from {line.source}"
    )
    friction = (
        "not known" if learned.friction_n is None else units.text(learned.friction_n, "N", ".1f")
    )
    delay = "not known" if learned.delay_s is None else f"{1000 * learned.delay_s:.1f} ms"
    tell(f"friction {friction}, delay of the latch {delay}")
    table = Table(box=None, pad_edge=False)
    for name in _columns(units):
        table.add_column(name, justify="left" if name == "record" else "right")
    for lesson, ratio in zip(learned.lessons, learned.ratios, strict=True):
        table.add_row(
            plain_text(lesson.name),
            units.number(lesson.mass_kg, "kg", ".4g"),
            units.number(lesson.height_m, "m", ".3f"),
            units.number(lesson.peak_n, "N"),
            f"{ratio:.3f}",
            units.number(lesson.stiffness_n_per_m, "N/m", ".5g"),
        )
    Console(highlight=False, width=120).print(table)
    for name, reason in learned.refused:
        tell(f"not learned from {name}: {reason}")
