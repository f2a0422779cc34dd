"""Missed: by how much a planned drop misses its target, and what would meet it."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model.display_units import SI, Units
from tautlog.model.shown import shown_force
from tautlog.planning.aim import Aim
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.solving import solve_height, solve_mass

AGREES = 0.002  # difference of a force that was solved for and its prediction, relative


@dataclass(frozen=True)
class Missed:
    """A plan that does not meet its target.

    Attributes
    ----------
    by_n, off_target : float
        Predicted peak less the aim; its relative distance from the target.
    text : str
        The same in words, with what would meet the target.
    """

    by_n: float
    off_target: float
    text: str


def missed(
    drop: PlannedDrop, peak_n: float, aim: Aim, target_n: float, units: Units = SI
) -> Missed | None:
    """By how much a drop misses what must be proven, and what would meet it; or None."""
    if aim.low_n * (1 - AGREES) <= peak_n <= max(aim.high_n, aim.force_n) * (1 + AGREES):
        return None
    off = peak_n / target_n - 1.0
    below = peak_n < aim.force_n
    peak = shown_force(peak_n, None, (target_n, aim.force_n), units)
    side = "MISSES the target" if below else "GOES BEYOND what can be proven on target"
    ways = _ways_to(drop, aim.force_n, units)
    met = (
        f"With all else unchanged, {' or '.join(ways)} meets it"
        if ways
        else "No height or mass meets it"
    )
    return Missed(
        peak_n - aim.force_n,
        off,
        f"{side} of {peak.level(0)}: predicted {peak.text}, {100 * off:+.0f} %; aim for "
        f"{peak.level(1)}. {met}",
    )


def _ways_to(drop: PlannedDrop, force_n: float, units: Units) -> list[str]:
    """Heights and masses that would meet a force."""
    ways = []
    with suppress(PlanError):
        height_m = solve_height(drop, force_n).height_m
        ways.append(f"a height of {units.text(height_m, 'm', '.3f')}")
    with suppress(PlanError):
        mass_kg = solve_mass(drop, force_n).mass_kg
        ways.append(f"a mass of {units.text(mass_kg, 'kg', '.2f')}")
    return ways
