"""Planned drop: what will fall, from which height, on which line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tautlog.errors import PlanError
from tautlog.mechanics.first_peak import first_peak_n
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.line import Line
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2


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
        Friction of the rails as stated; None if it is not. See `rails_n`.
    """

    mass_kg: float
    height_m: float
    line: Line
    friction_n: float | None = None

    @property
    def energy_j(self) -> float:
        """Energy of the free fall, m g h."""
        return self.mass_kg * STANDARD_GRAVITY_M_PER_S2 * self.height_m

    @property
    def rails_n(self) -> float | None:
        """Friction to reckon with: as stated, or with which the line's drops are explained."""
        if self.friction_n is None and self.line.trend is not None:
            return self.line.trend.friction_n or 0.0
        return self.friction_n

    @property
    def factor(self) -> float:
        """Factor on the force of its `model`, as earlier drops of the line tell it."""
        return self.line.trend.factor(self.energy_j) if self.line.trend else 1.0

    def peak_n(self) -> float:
        """Peak force of the first pull.

        Raises
        ------
        PlanError
            If a value is out of range.
        """
        return self.factor * first_peak_n(self.model())

    def with_stiffness(self, stiffness_n_per_m: float) -> PlannedDrop:
        """The same drop on a line of this stiffness, of which no drop has told."""
        line = replace(self.line, stiffness_n_per_m=stiffness_n_per_m, trend=None)
        return replace(self, line=line, friction_n=self.rails_n)

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
                friction_n=self.rails_n or 0.0,
            )
        except ValueError as problem:
            raise PlanError(f"this drop is not possible: {problem}") from problem
