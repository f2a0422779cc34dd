"""Line: the line that springs taut, and its stiffness.

The stiffness is stated, or comes from EA over the length, from a static pull, or from earlier
drops (`learn`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautlog.errors import PlanError

# Common practice, no source: uncertainty of a stiffness that was not measured in a drop, and how
# much stiffer knots, stitches and braid become in the first drops.
STIFFNESS_U_FRACTION = 0.10
BEDDING_IN = 0.30
BEDDED_AFTER = 2
MOST_RATIO = 1e3  # of two drops' energies, over which a trend is taken further; own choice


@dataclass(frozen=True)
class Trend:
    """By how much the peaks of a line's drops differ from those of its constants.

    The logarithm of measured over predicted is `level` + `slope` x ln(E / `energy_j`) for a drop of
    energy E = m g h. The parts of its uncertainty are independent.

    Attributes
    ----------
    energy_j : float
        Energy in the middle of the drops that it comes from.
    level, slope : float
        There, and how it grows with the logarithm of the energy.
    level_u, slope_u, scatter_u : float
        Standard uncertainties of both, and of a single drop around them.
    friction_n : float or None
        Friction of the rails that it was found with, and that predictions must use.
    """

    energy_j: float
    level: float
    slope: float
    level_u: float
    slope_u: float
    scatter_u: float
    friction_n: float | None = None

    def factor(self, energy_j: float) -> float:
        """Measured over predicted peak of the next drop."""
        return math.exp(self.level + self.slope * self._from_middle(energy_j))

    def u(self, energy_j: float) -> float:
        """Relative standard uncertainty of the peak of the next drop."""
        return math.hypot(self.level_u, self.slope_u * self._from_middle(energy_j), self.scatter_u)

    def _from_middle(self, energy_j: float) -> float:
        ratio = energy_j / self.energy_j
        return math.log(min(max(ratio, 1.0 / MOST_RATIO), MOST_RATIO))


@dataclass(frozen=True)
class Line:
    """One line with its rig.

    Attributes
    ----------
    name : str
        Name in campaign.toml and records.
    stiffness_n_per_m : float
        k at zero stretch.
    hardening_per_m2 : float
        b in F = k x (1 + b x**2).
    damping_ratio : float
        Fraction of critical, with the planned sled.
    stiffness_u_fraction : float
        Relative standard uncertainty of k.
    drops : int or None
        Drops since new; None if not known. A new line beds in and becomes stiffer.
    source : str
        Source of the stiffness, in words.
    trend : Trend or None
        What the peaks of its drops say beside these constants; None without drops.
    """

    name: str
    stiffness_n_per_m: float
    hardening_per_m2: float = 0.0
    damping_ratio: float = 0.0
    stiffness_u_fraction: float = STIFFNESS_U_FRACTION
    drops: int | None = None
    source: str = "given"
    trend: Trend | None = None

    def __post_init__(self) -> None:
        if not (self.stiffness_n_per_m > 0 and math.isfinite(self.stiffness_n_per_m)):
            raise PlanError(f"stiffness {self.stiffness_n_per_m!r} N/m: allowed is a number > 0")
        if not 0 <= self.damping_ratio < 1:
            raise PlanError(f"damping {self.damping_ratio!r}: allowed is a number from 0 to 1")
        if not (self.hardening_per_m2 >= 0 and math.isfinite(self.hardening_per_m2)):
            raise PlanError(f"hardening {self.hardening_per_m2!r} / m2: allowed is a number >= 0")

    def without_trend(self) -> Line:
        """Its constants alone."""
        return replace(self, trend=None)

    @property
    def may_stiffen(self) -> float:
        """Largest relative rise of k from further bedding-in."""
        if self.drops is None:
            return BEDDING_IN
        return BEDDING_IN * max(0.0, 1.0 - self.drops / BEDDED_AFTER)


def stiffness_of_rope(modulus_n: float, length_m: float) -> float:
    """Stiffness EA / L: force per unit relative stretch, over the length."""
    if not (modulus_n > 0 and length_m > 0):
        raise PlanError(f"EA {modulus_n!r} N and length {length_m!r} m: allowed are numbers > 0")
    return modulus_n / length_m


def stiffness_of_pull(points: list[tuple[float, float]]) -> tuple[float, float]:
    """Stiffness and hardening of a static pull, by least squares.

    Parameters
    ----------
    points : list of (float, float)
        Force in newtons and stretch in metres. One point gives k alone, several give k and b.

    Raises
    ------
    PlanError
        If they give no positive stiffness.
    """
    import numpy as np

    force = np.array([point[0] for point in points], dtype=float)
    stretch = np.array([point[1] for point in points], dtype=float)
    if force.size == 0 or not (stretch > 0).all() or not (force > 0).all():
        raise PlanError("a static pull needs points of force > 0 and stretch > 0")
    if force.size == 1:
        return float(force[0] / stretch[0]), 0.0
    columns = np.stack([stretch, stretch**3], axis=1)
    (k, kb), *_ = np.linalg.lstsq(columns, force, rcond=None)
    if kb < 0:  # it softens: a straight line through all points is better
        return float(force @ stretch / (stretch @ stretch)), 0.0
    if k <= 0:
        raise PlanError("the points of the static pull give no stiffness > 0: check their units")
    return float(k), float(kb / k)


def rope_modulus_n(
    rated_force_n: float, mass_kg: float, fall_factor: float, gravity_m_s2: float = 9.80665
) -> float:
    """Modulus EA of a rope from its rated impact force, K = F (F - 2 m g) / (2 m g f).

    Undamped spring model of the standard fall of dynamic ropes (R. Goldstone, The Standard
    Equation for Impact Force, as transcribed). Real ropes lose energy in the fall, so it is
    accurate to about 10 %.
    """
    weight_n = mass_kg * gravity_m_s2
    if not (rated_force_n > 2.0 * weight_n and fall_factor > 0):
        raise PlanError(
            f"impact force {rated_force_n:g} N: allowed is more than 2 m g = {2 * weight_n:.0f} N"
        )
    return rated_force_n * (rated_force_n - 2.0 * weight_n) / (2.0 * weight_n * fall_factor)
