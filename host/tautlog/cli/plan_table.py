"""What `tautlog plan` shows."""

from __future__ import annotations

import click
from rich.console import Console
from rich.table import Table

from tautlog.planning.flight import Opening, Snatch
from tautlog.planning.ladder import HOLD, STOP_RULES, Step
from tautlog.planning.plan import Plan


def show(planned: Plan, rungs: tuple[Step, ...]) -> None:
    """Show a plan."""
    console = Console(highlight=False, width=110)
    _show_drop(planned)
    _show_figures(planned, console)
    if planned.drop.friction_n is None:
        click.echo("the friction is not known: the band reaches lower for that")
    for check in planned.checks:
        word = "holds " if check.holds else "REFUSE" if check.refuses else "LOOK: "
        click.echo(f"  {word} {check.text}")
    if planned.missed:
        click.echo(planned.missed.text)
    if rungs:
        _show_ladder(rungs, console)


def _show_drop(planned: Plan) -> None:
    """Show what falls, for which load, and the aim."""
    drop, line = planned.drop, planned.drop.line
    found = f" (found: {planned.solved})" if planned.solved else ""
    if planned.length_m is not None:
        found = f" (found: {planned.length_m:.3f} m of line)"
    click.echo(
        f"drop: {drop.mass_kg:.4g} kg from {drop.height_m:.3f} m on {line.name}, "
        f"{line.stiffness_n_per_m:.5g} N/m{found}"
    )
    if isinstance(planned.flight, Snatch):
        _show_snatch(planned, planned.flight)
    elif isinstance(planned.flight, Opening):
        _show_opening(planned, planned.flight)
    if not planned.solved and line.source.startswith("--"):
        click.echo(f"stiffness from {line.source}")
    if planned.aim:
        click.echo(f"aim {planned.aim.force_n:.0f} N: {planned.aim.note}")


def _show_figures(planned: Plan, console: Console) -> None:
    """Show what the drop will do."""
    predicted, line = planned.prediction, planned.drop.line
    rows = (
        (
            "peak",
            f"{predicted.peak_force_n:.0f} N",
            f"{predicted.peak_low_n:.0f} to {predicted.peak_high_n:.0f} N, k = 2 and bedding-in "
            f"(+{100 * line.may_stiffen:.0f} % of stiffness)",
        ),
        ("duration", f"{1000 * predicted.duration_s:.1f} ms", "above 10 % of the peak"),
        ("rise", f"{1000 * predicted.rise_time_s:.1f} ms", "10 to 90 %"),
        ("taut to slack", f"{1000 * predicted.base_duration_s:.1f} ms", ""),
        ("stretch", f"{1000 * predicted.stretch_m:.0f} mm", "of line and rig"),
        (
            "speed",
            f"{predicted.taut_speed_m_s:.2f} m/s",
            f"after {predicted.fall_time_s:.3f} s of fall",
        ),
        ("energy", f"{predicted.energy_j:.0f} J", "of the sled as the line comes taut"),
        ("impulse", f"{predicted.impulse_ns:.1f} N s", ""),
    )
    table = Table(box=None, pad_edge=False, show_header=False)
    for row in rows:
        table.add_row(*row)
    console.print(table)


def _show_snatch(planned: Plan, flight: Snatch) -> None:
    longer = planned.prediction.pulse_s / flight.duration_s
    click.echo(
        f"flight: {flight.force_n:.0f} N x {planned.factor:g} = {planned.target_n:.0f} N; two "
        f"bodies with a reduced mass of {flight.reduced_mass_kg:.3g} kg, "
        f"{1000 * flight.duration_s:.1f} ms"
    )
    click.echo(
        f"on the rig the same peak lasts {longer:.2g} x as long, and its impulse is larger by the "
        "same factor: the rig reproduces the flight load in force, not in time"
    )


def _show_opening(planned: Plan, flight: Opening) -> None:
    click.echo(
        f"opening: {flight.infinite_mass_load_n:.0f} N for an infinite mass, x "
        f"{flight.finite_mass_factor:.3g} for {flight.body_kg:g} kg = {flight.force_n:.0f} N; x "
        f"{planned.factor:g} = {planned.target_n:.0f} N. The rig reproduces it in force, "
        "not in time"
    )


def _show_ladder(rungs: tuple[Step, ...], console: Console) -> None:
    table = Table(box=None, pad_edge=False)
    for name in ("load", "height m", "peak N", "band N", "duration ms", "stretch mm", "purpose"):
        table.add_column(name, justify="left" if name == "purpose" else "right")
    for step in rungs:
        p = step.prediction
        table.add_row(
            f"{100 * step.fraction:.0f} %",
            f"{p.height_m:.3f}",
            f"{p.peak_force_n:.0f}",
            f"{p.peak_low_n:.0f} to {p.peak_high_n:.0f}",
            f"{1000 * p.duration_s:.0f}",
            f"{1000 * p.stretch_m:.0f}",
            step.purpose,
        )
    console.print(table)
    click.echo(f"after each step: {HOLD}")
    click.echo("stop at: " + "; ".join(STOP_RULES))
