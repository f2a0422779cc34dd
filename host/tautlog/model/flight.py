"""Flight: the load of a recovery system in the air, from a snatch or an opening canopy.

In the air two bodies pull at each other; on the rig one body pulls at the ground. The same peak
can have a different duration, so a requirement states both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import PlanError


@dataclass(frozen=True)
class Snatch:
    """Two bodies in flight whose line comes taut.

    Attributes
    ----------
    body_kg, canopy_kg : float
        Masses at both ends of the line.
    speed_m_s : float
        Their relative speed as the line comes taut.
    stiffness_n_per_m : float
        Stiffness of the line in flight.
    """

    body_kg: float
    canopy_kg: float
    speed_m_s: float
    stiffness_n_per_m: float

    def __post_init__(self) -> None:
        for name in ("body_kg", "canopy_kg", "speed_m_s", "stiffness_n_per_m"):
            _positive(name, getattr(self, name))

    @property
    def reduced_mass_kg(self) -> float:
        """m1 m2 / (m1 + m2)."""
        return self.body_kg * self.canopy_kg / (self.body_kg + self.canopy_kg)

    @property
    def force_n(self) -> float:
        """Peak of a linear spring between two free bodies, v sqrt(k mu).

        The closed form of mechanics; T. W. Knacke's Parachute Recovery Systems Design
        Manual (NWC TP 6575) uses it, from memory.
        """
        return self.speed_m_s * math.sqrt(self.stiffness_n_per_m * self.reduced_mass_kg)

    @property
    def duration_s(self) -> float:
        """Half a period of that spring, pi sqrt(mu / k)."""
        return math.pi * math.sqrt(self.reduced_mass_kg / self.stiffness_n_per_m)


@dataclass(frozen=True)
class Opening:
    """A canopy that opens and slows down its load.

    Attributes
    ----------
    drag_area_m2 : float
        Cd S of the full canopy.
    speed_m_s : float
        Speed at line stretch; q = rho v**2 / 2.
    opening_factor : float
        Cx, by the canopy's type: 1.7 for a flat circular one (Knacke, as read from his
        tables by others).
    body_kg, filling_s : float
        Mass below the canopy; time from line stretch until it is full.
    growth : float
        j: the drag area grows as time to the power j; 1 for ribbon, 2 for solid canopies.
    air_density_kg_m3 : float
        1.225 at sea level in the standard atmosphere.
    """

    drag_area_m2: float
    speed_m_s: float
    opening_factor: float
    body_kg: float
    filling_s: float
    growth: float = 2.0
    air_density_kg_m3: float = 1.225

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            _positive(name, value)

    @property
    def infinite_mass_load_n(self) -> float:
        """Load of a canopy that hardly slows down its load, (Cd S) q Cx."""
        pressure_pa = 0.5 * self.air_density_kg_m3 * self.speed_m_s**2
        return self.drag_area_m2 * pressure_pa * self.opening_factor

    @property
    def ballistic(self) -> float:
        """A = 2 m / (rho Cd S v t_f), t_f the filling time."""
        swept_m3 = self.drag_area_m2 * self.speed_m_s * self.filling_s
        return 2.0 * self.body_kg / (self.air_density_kg_m3 * swept_m3)

    @property
    def finite_mass_factor(self) -> float:
        """Share of the infinite-mass load that a load of finite mass sees, X1.

        Drag alone: B = 1 / (A (j + 1)), the largest load at tau = min(1, (j A (j + 1) /
        (j + 2)) ** (1 / (j + 1))), X1 = tau**j / (1 + B tau**(j + 1))**2.
        """
        a, j = self.ballistic, self.growth
        b = 1.0 / (a * (j + 1.0))
        tau = min(1.0, (j * a * (j + 1.0) / (j + 2.0)) ** (1.0 / (j + 1.0)))
        return float(tau**j / (1.0 + b * tau ** (j + 1.0)) ** 2)

    @property
    def force_n(self) -> float:
        """Largest load during opening."""
        return self.infinite_mass_load_n * self.finite_mass_factor


FlightLoad = Snatch | Opening


def _positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise PlanError(f"{name} = {value!r}: allowed is a number > 0")
