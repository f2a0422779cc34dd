"""Uncertainty of stretch, energy and stiffness, and of the speed that they begin with.

Each input is moved by its standard uncertainty and the path is integrated again: the figures
hang on it in no simpler way (GUM 5.1.3, note 2).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tautlog.analysis.stretch import Stretch
from tautlog.analysis.taut_speed import NONE, Change, Input
from tautlog.model.uncertainty import Budget, Part

FIGURES = (
    ("energy_absorbed_j", "J"),
    ("max_stretch_m", "m"),
    ("secant_stiffness_n_per_m", "N/m"),
)


@dataclass(frozen=True)
class Spread:
    """Expanded uncertainties of the figures of a stretch; as in `marks.Marks`."""

    energy_absorbed_expanded_u_j: float | None = None
    max_stretch_expanded_u_m: float | None = None
    secant_stiffness_expanded_u_n_per_m: float | None = None
    budgets: tuple[Budget, ...] = ()


def speed_budget(speed_at: Callable[[Change], float], inputs: Sequence[Input]) -> Budget:
    """Budget of the speed at onset."""
    speed_m_s = speed_at(NONE)
    parts = tuple(_part(one, speed_at(one.change) - speed_m_s) for one in inputs)
    return Budget("taut_speed_m_s", "m/s", speed_m_s, parts)


def spread_of(
    found: Stretch, stretch_at: Callable[[Change], Stretch], inputs: Sequence[Input]
) -> Spread:
    """Spread of a stretch; a figure that a change takes away has none.

    Parameters
    ----------
    found : Stretch
        With all inputs right.
    stretch_at : callable
        The same with inputs that are off.
    inputs : sequence of Input
        What it hangs on.
    """
    moved = [stretch_at(one.change) for one in inputs]
    budgets: dict[str, Budget] = {}
    for figure, unit in FIGURES:
        value, others = getattr(found, figure), [getattr(one, figure) for one in moved]
        if value is None or None in others:
            continue
        parts = tuple(_part(one, other - value) for one, other in zip(inputs, others, strict=True))
        budgets[figure] = Budget(figure, unit, value, parts)
    energy, stretch, secant = (budgets.get(figure) for figure, _ in FIGURES)
    return Spread(
        None if energy is None else energy.expanded_u,
        None if stretch is None else stretch.expanded_u,
        None if secant is None else secant.expanded_u,
        tuple(budgets.values()),
    )


def _part(one: Input, moved: float) -> Part:
    return Part(one.name, abs(moved), one.kind, one.freedom, one.basis)
