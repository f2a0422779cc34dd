"""Flight: what a recovery system pulls in the air, and what that means for the rig.

In the air two bodies pull at each other, on the rig one pulls at the ground: the same peak
can come with another length. Both peak and length belong to a requirement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import PlanError


@dataclass(frozen=True)
class Snatch:
    """Two bodies whose line comes taut.

    Attributes
    ----------
    body_kg, canopy_kg : float
        Masses at both ends of the line.
    speed_m_s : float
        Their relative speed as it comes taut.
    stiffness_n_per_m : float
        Of the line in flight.
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


def infinite_mass_load_n(
    drag_area_m2: float, speed_m_s: float, opening_factor: float, air_density_kg_m3: float = 1.225
) -> float:
    """Opening load of a canopy that hardly slows its load down, (Cd S) q Cx.

    Parameters
    ----------
    drag_area_m2 : float
        Cd S of the full canopy.
    speed_m_s : float
        At line stretch; q = rho v**2 / 2.
    opening_factor : float
        Cx, by the canopy's type: 1.7 for a flat circular one (Knacke, as read from his
        tables by others).
    air_density_kg_m3 : float
        1.225 at sea level in the standard atmosphere.
    """
    for name, value in (
        ("drag_area_m2", drag_area_m2),
        ("speed_m_s", speed_m_s),
        ("opening_factor", opening_factor),
        ("air_density_kg_m3", air_density_kg_m3),
    ):
        _positive(name, value)
    return drag_area_m2 * 0.5 * air_density_kg_m3 * speed_m_s**2 * opening_factor


def finite_mass_factor(ballistic: float, growth: float = 2.0) -> float:
    """Share of the infinite-mass load that a load of finite mass sees, X1.

    Parameters
    ----------
    ballistic : float
        A = 2 m / (rho Cd S v t_f), t_f the filling time.
    growth : float
        j: the drag area grows as time to the power j; 1 for ribbon, 2 for solid canopies.

    Notes
    -----
    Drag alone: B = 1 / (A (j + 1)), the largest load at tau = min(1, (j A (j + 1) / (j + 2))
    ** (1 / (j + 1))), X1 = tau**j / (1 + B tau**(j + 1))**2.
    """
    _positive("ballistic", ballistic)
    _positive("growth", growth)
    j = growth
    b = 1.0 / (ballistic * (j + 1.0))
    tau = min(1.0, (j * ballistic * (j + 1.0) / (j + 2.0)) ** (1.0 / (j + 1.0)))
    return float(tau**j / (1.0 + b * tau ** (j + 1.0)) ** 2)


def _positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise PlanError(f"{name} = {value!r}: allowed is a number > 0")
