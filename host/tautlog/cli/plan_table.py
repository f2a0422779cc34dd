"""What `tautlog plan` shows."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from tautlog.cli.console import plain_text
from tautlog.cli.output import tell
from tautlog.model.display_units import SI, Units
from tautlog.model.flight import Opening, Snatch
from tautlog.planning.ladder import HOLD, STOP_RULES, Step
from tautlog.planning.odds import Odds
from tautlog.planning.plan import Plan
from tautlog.planning.plan_words import (
    FRICTION_UNKNOWN,
    drop_text,
    figure_rows,
    ladder_head,
    ladder_rows,
    odds_lines,
)


def show(planned: Plan, rungs: tuple[Step, ...]) -> None:
    """Show a plan."""
    console = Console(highlight=False, width=110)
    _show_drop(planned)
    _show_figures(planned, console)
    if planned.drop.friction_n is None:
        tell(FRICTION_UNKNOWN)
    for check in planned.checks:
        word = "holds " if check.holds else "REFUSE" if check.refuses else "LOOK: "
        tell(f"  {word} {check.text}")
    if planned.missed:
        tell(planned.missed.text)
    if rungs:
        _show_ladder(rungs, console, planned.units)


def show_odds(odds: Odds | None, units: Units = SI) -> None:
    """Show the height that makes a proof most likely, and what to measure better."""
    if odds is None:
        tell("odds: without a target there are none")
        return
    best, *better = odds_lines(odds, units)
    tell(f"odds: {best}")
    for text in better:
        tell(f"  {text}")


def _show_drop(planned: Plan) -> None:
    """Show what falls, for which load, and the aim."""
    line = planned.drop.line
    tell(f"drop: {drop_text(planned)}")
    if isinstance(planned.flight, Snatch):
        _show_snatch(planned, planned.flight)
    elif isinstance(planned.flight, Opening):
        _show_opening(planned, planned.flight)
    if not planned.solved and line.source.startswith("--"):
        tell(f"stiffness from {line.source}")
    if planned.aim:
        tell(f"aim {planned.units.text(planned.aim.force_n, 'N')}: {planned.aim.note}")


def _show_figures(planned: Plan, console: Console) -> None:
    """Show what the drop will do."""
    table = Table(box=None, pad_edge=False, show_header=False)
    for row in figure_rows(planned):
        table.add_row(*map(plain_text, row))
    console.print(table)


def _show_snatch(planned: Plan, flight: Snatch) -> None:
    units = planned.units
    longer = planned.prediction.pulse_s / flight.duration_s
    tell(
        f"flight: {units.text(flight.force_n, 'N')} x {planned.factor:g} = "
        f"{units.text(planned.target_n or 0.0, 'N')}; two "
        f"bodies with a reduced mass of {units.text(flight.reduced_mass_kg, 'kg', '.3g')}, "
        f"{1000 * flight.duration_s:.1f} ms"
    )
    tell(
        f"on the rig the same peak lasts {longer:.2g} x as long, and its impulse is larger by the "
        "same factor: the rig reproduces the flight load in force, not in time"
    )


def _show_opening(planned: Plan, flight: Opening) -> None:
    units = planned.units
    tell(
        f"opening: {units.text(flight.infinite_mass_load_n, 'N')} for an infinite mass, x "
        f"{flight.finite_mass_factor:.3g} for {units.text(flight.body_kg, 'kg', 'g')} = "
        f"{units.text(flight.force_n, 'N')}; x {planned.factor:g} = "
        f"{units.text(planned.target_n or 0.0, 'N')}. The rig reproduces it in force, "
        "not in time"
    )


def _show_ladder(rungs: tuple[Step, ...], console: Console, units: Units) -> None:
    table = Table(box=None, pad_edge=False)
    for name in ladder_head(units):
        table.add_column(name, justify="left" if name == "purpose" else "right")
    for row in ladder_rows(rungs, units):
        table.add_row(*map(plain_text, row))
    console.print(table)
    tell(f"after each step: {HOLD}")
    tell("stop at: " + "; ".join(STOP_RULES))
