"""Planned drop: what will fall, from which height, on which line."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.line import Line


@dataclass(frozen=True)
class PlannedDrop:
    """A planned drop.

    Attributes
    ----------
    mass_kg, height_m : float
        Mass of all that moves; free travel until the line is taut.
    line : Line
        The line that springs taut.
    friction_n : float or None
        Friction of the rails; None if not known.
    """

    mass_kg: float
    height_m: float
    line: Line
    friction_n: float | None = None

    def model(self) -> RigModel:
        """Motion of this drop.

        Raises
        ------
        PlanError
            If a value is out of range.
        """
        try:
            return RigModel(
                mass_kg=self.mass_kg,
                height_m=self.height_m,
                stiffness_n_per_m=self.line.stiffness_n_per_m,
                hardening_per_m2=self.line.hardening_per_m2,
                damping_ratio=self.line.damping_ratio,
                friction_n=self.friction_n or 0.0,
            )
        except ValueError as problem:
            raise PlanError(f"this drop is not possible: {problem}") from problem
