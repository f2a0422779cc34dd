"""Rig model: sled, rails, line and catch, and the forces between them.

The line is a spring with a cubic term and a viscous damper in parallel, and a
rope cannot push: F = max(0, k e (1 + b e**2) + c v) while its stretch e is
positive, else 0. Stretch and speed are positive downwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

FloatArray = npt.NDArray[np.float64]
Number = TypeVar("Number", float, FloatArray)
SLIP_WEAKENING = 0.1


@dataclass(frozen=True)
class Slip:
    """A line that creeps through its clamp once, then jams.

    Attributes
    ----------
    force_n : float
        Force at which it begins to slip; it falls by 10 % along the way, because
        sliding friction is lower than static friction (common practice).
    length_m : float
        Length that slips through before the clamp holds again.
    """

    force_n: float
    length_m: float

    def held_n(self, slipped_m: Number) -> Number:
        """Force that the clamp holds after a length has slipped through."""
        return self.force_n * (1.0 - SLIP_WEAKENING * slipped_m / self.length_m)


@dataclass(frozen=True)
class RigModel:
    """Everything the motion depends on.

    Attributes
    ----------
    mass_kg, height_m : float
        Moving mass; free travel until the line is taut.
    stiffness_n_per_m : float
        Tangent stiffness of line and rig at zero stretch.
    hardening_per_m2 : float
        b of the elastic force k e (1 + b e**2): extra force as a fraction of the
        linear one, per square metre of stretch.
    damping_ratio : float
        c = 2 zeta sqrt(k m), 0 <= zeta < 1.
    uptake_m : float
        Stretch over which the damper comes in, 0 for at once. A damper that is there at
        once makes the force jump by c v0 at onset; knots and splices that pull
        tight spread it over some millimetres (common practice).
    friction_n : float
        Coulomb friction of both rails together; less than the weight.
    break_force_n : float or None
        Force at which the load path parts.
    slip : Slip or None
        A clamp that slips.
    catch_stretch_m : float or None
        Stretch at which the sled meets the catch; 0 or less when the catch comes
        before the line is taut. None: the catch is never met.
    catch_stiffness_n_per_m : float
        Stiffness of the catch, a buffer k d (1 + 0.5 v) after K. H. Hunt and
        F. R. E. Crossley, J. Appl. Mech. 42 (1975) 440: no force at first touch,
        and it cannot pull. The cell does not see its force.
    ring_n, ring_hz, ring_damping_ratio : float
        Ringing of the cell after a break: the unloaded beam shakes the fittings
        (common practice for 0.5 kg of them: 200 to 300 N at 50 to 200 Hz).
    """

    mass_kg: float
    height_m: float
    stiffness_n_per_m: float
    hardening_per_m2: float = 0.0
    damping_ratio: float = 0.0
    uptake_m: float = 0.0
    friction_n: float = 0.0
    break_force_n: float | None = None
    slip: Slip | None = None
    catch_stretch_m: float | None = None
    catch_stiffness_n_per_m: float = 100_000.0
    ring_n: float = 250.0
    ring_hz: float = 110.0
    ring_damping_ratio: float = 0.05

    def __post_init__(self) -> None:
        for name in ("mass_kg", "stiffness_n_per_m", "catch_stiffness_n_per_m", "ring_hz"):
            require(name, getattr(self, name), getattr(self, name) > 0, "> 0")
        for name in ("height_m", "hardening_per_m2", "uptake_m", "ring_n"):
            require(name, getattr(self, name), getattr(self, name) >= 0, ">= 0")
        for name in ("damping_ratio", "ring_damping_ratio"):
            require(name, getattr(self, name), 0 <= getattr(self, name) < 1, "in 0 <= x < 1")
        inside = 0 <= self.friction_n < self.weight_n
        require("friction_n", self.friction_n, inside, f"in 0 <= f < m g = {self.weight_n:.6g} N")
        if self.break_force_n is not None:
            require("break_force_n", self.break_force_n, self.break_force_n > 0, "> 0")

    @property
    def weight_n(self) -> float:
        """Weight of the sled, m g."""
        return self.mass_kg * STANDARD_GRAVITY_M_PER_S2

    @property
    def damping_ns_per_m(self) -> float:
        """Coefficient of the viscous damper, c."""
        return 2.0 * self.damping_ratio * math.sqrt(self.stiffness_n_per_m * self.mass_kg)

    @property
    def never_taut(self) -> bool:
        """Whether the catch stops the sled before the line is taut."""
        return self.catch_stretch_m is not None and self.catch_stretch_m <= 0

    def acceleration_m_s2(self, *, rising: bool) -> float:
        """Downward acceleration of the sled on a slack line."""
        drag = self.friction_n / self.mass_kg
        return STANDARD_GRAVITY_M_PER_S2 + (drag if rising else -drag)

    def elastic_n(self, stretch_m: Number) -> Number:
        """Elastic force at a stretch (float or ndarray), in newtons."""
        stiffness = self.stiffness_n_per_m
        return stiffness * stretch_m * (1.0 + self.hardening_per_m2 * stretch_m * stretch_m)

    def virtual_n(self, stretch_m: float, speed_m_s: float) -> float:
        """Force of spring and damper; below zero where a real line is slack."""
        damper = self.damping_ns_per_m * speed_m_s
        if self.uptake_m > 0.0 and stretch_m < self.uptake_m:
            damper *= max(0.0, stretch_m / self.uptake_m)
        return self.elastic_n(stretch_m) + damper

    def catch_n(self, stretch_m: float, speed_m_s: float) -> float:
        """Upward force of the catch on the sled."""
        if self.catch_stretch_m is None or stretch_m <= self.catch_stretch_m:
            return 0.0
        dent_m = stretch_m - self.catch_stretch_m
        return max(0.0, self.catch_stiffness_n_per_m * dent_m * (1.0 + 0.5 * speed_m_s))


def require(name: str, value: float, inside: bool, allowed: str) -> None:
    """Raise a ValueError unless a value is a number inside what is allowed."""
    if not (inside and math.isfinite(value)):
        raise ValueError(f"`{name}` must be {allowed}, was {value!r}")
