"""Missed: by how much a planned drop misses its target, and what would meet it."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.errors import PlanError
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


def missed(drop: PlannedDrop, peak_n: float, aim: Aim, target_n: float) -> Missed | None:
    """By how much a drop misses what must be proven, and what would meet it; or None."""
    if aim.low_n * (1 - AGREES) <= peak_n <= max(aim.high_n, aim.force_n) * (1 + AGREES):
        return None
    off = peak_n / target_n - 1.0
    below = peak_n < aim.force_n
    side = "MISSES the target" if below else "GOES BEYOND what can be proven on target"
    ways = _ways_to(drop, aim.force_n)
    met = (
        f"With all else unchanged, {' or '.join(ways)} meets it"
        if ways
        else "No height or mass meets it"
    )
    return Missed(
        peak_n - aim.force_n,
        off,
        f"{side} of {target_n:.0f} N: predicted {peak_n:.0f} N, {100 * off:+.0f} %; aim for "
        f"{aim.force_n:.0f} N. {met}",
    )


def _ways_to(drop: PlannedDrop, force_n: float) -> list[str]:
    """Heights and masses that would meet a force."""
    ways = []
    for solve, words in (
        (solve_height, "a height of {0.height_m:.3f} m"),
        (solve_mass, "a mass of {0.mass_kg:.2f} kg"),
    ):
        try:
            ways.append(words.format(solve(drop, force_n)))
        except PlanError:
            continue
    return ways
