"""Lateral strength: what a bolt or lag screw in wood holds across its axis.

The yield limit equations of the NDS (National Design Specification for Wood Construction, 2018,
table 12.3.1A) for one shear plane. Their text was not seen; the code reproduces table 12K of the
standard, which is public in building permits, see tests/model/test_lateral.py. The values are
allowable ones for normal duration, dry wood and full edge, end and spacing distances
(`fastener_group`); they are no structural proof.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model.fasteners import INCH_M, LBF_N, in_range

PSI_PA = LBF_N / INCH_M**2
# Bending yield strength, NDS appendix I: lag screws and bolts of 3/8 inch and more. Thinner lag
# screws have 60 000 and 70 000 psi.
BOLT_YIELD_PA = 45_000.0 * PSI_PA
# Root over shank of lag screws: 0.69 to 0.75 for 1/4 to 1/2 inch (NDS appendix L, from memory).
ROOT_SHARE = 0.7
LEAST_PENETRATION = 4.0  # diameters, NDS 12.1.4.6
_SMALL_M, _SMALLEST_M = 0.25 * INCH_M, 0.17 * INCH_M


@dataclass(frozen=True)
class ShearPlane:
    """One shear plane: a side member, steel or wood, on a main member of wood.

    Attributes
    ----------
    shank_m, bearing_m : float
        Diameter of the shank, and the one that bears and bends: the root of the thread, or the
        shank of a bolt whose thread does not bear.
    yield_pa : float
        Bending yield strength of the fastener.
    main_pa, side_pa : float
        Dowel bearing strengths of main and side member, see `wood_bearing_pa`.
    main_m, side_m : float
        Lengths over which it bears in each.
    grain_deg : float
        Largest angle of the load to the grain, 0 to 90.

    Raises
    ------
    PlanError
        If a number lies outside what the equations are for.
    """

    shank_m: float
    bearing_m: float
    yield_pa: float
    main_pa: float
    side_pa: float
    main_m: float
    side_m: float
    grain_deg: float = 0.0

    def __post_init__(self) -> None:
        in_range("diameter in mm", 1000.0 * self.shank_m, 2.0, 25.4)
        in_range("root over shank", self.bearing_m / self.shank_m, 0.5, 1.0)
        in_range("angle to the grain in degrees", self.grain_deg, 0.0, 90.0)
        for name in ("yield_pa", "main_pa", "side_pa", "main_m", "side_m"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise PlanError(f"{name} must be greater than 0, was {getattr(self, name)!r}")

    @property
    def reductions(self) -> tuple[float, float, float]:
        """Reduction terms of modes I, II, and III and IV (table 12.3.1B)."""
        slope = 1.0 + 0.25 * self.grain_deg / 90.0
        if self.bearing_m >= _SMALL_M:
            return 4.0 * slope, 3.6 * slope, 3.2 * slope
        inches = self.bearing_m / INCH_M
        small = 2.2 if self.bearing_m <= _SMALLEST_M else 10.0 * inches + 0.5
        if self.shank_m >= _SMALL_M:
            small *= slope
        return small, small, small

    def modes_n(self) -> dict[str, float]:
        """Allowable load of each yield mode, by its name in the standard."""
        ratio = self.main_pa / self.side_pa
        span = self.main_m / self.side_m
        one, two, three = self.reductions
        d = self.bearing_m
        bend = 2.0 * self.yield_pa * d**2 / (3.0 * self.main_pa)
        k1 = math.sqrt(ratio + 2 * ratio**2 * (1 + span + span**2) + span**2 * ratio**3)
        k1 = (k1 - ratio * (1 + span)) / (1 + ratio)
        k2 = -1 + math.sqrt(2 * (1 + ratio) + bend * (1 + 2 * ratio) / self.main_m**2)
        k3 = -1 + math.sqrt(2 * (1 + ratio) / ratio + bend * (2 + ratio) / self.side_m**2)
        plastic = math.sqrt(2 * self.main_pa * self.yield_pa / (3 * (1 + ratio)))
        return {
            "Im": d * self.main_m * self.main_pa / one,
            "Is": d * self.side_m * self.side_pa / one,
            "II": k1 * d * self.side_m * self.side_pa / two,
            "IIIm": k2 * d * self.main_m * self.main_pa / ((1 + 2 * ratio) * three),
            "IIIs": k3 * d * self.side_m * self.main_pa / ((2 + ratio) * three),
            "IV": d**2 * plastic / three,
        }

    def allowable_n(self) -> tuple[float, str]:
        """Smallest of the modes, and its name."""
        modes = self.modes_n()
        name = min(modes, key=lambda mode: modes[mode])
        return modes[name], name


def wood_bearing_pa(specific_gravity: float, diameter_m: float, grain_deg: float = 0.0) -> float:
    """Dowel bearing strength of wood (NDS table 12.3.3), at an angle by Hankinson's formula.

    11 200 G along the grain and 6100 G**1.45 D**-0.5 across it, in psi and inches, for shanks of
    1/4 inch and more; 16 600 G**1.84 in every direction for thinner ones.
    """
    in_range("specific gravity", specific_gravity, 0.3, 0.8)
    in_range("angle to the grain in degrees", grain_deg, 0.0, 90.0)
    if diameter_m < _SMALL_M:
        return 16_600.0 * math.pow(specific_gravity, 1.84) * PSI_PA
    along = 11_200.0 * specific_gravity * PSI_PA
    across = 6100.0 * math.pow(specific_gravity, 1.45) / math.sqrt(diameter_m / INCH_M) * PSI_PA
    return hankinson(along, across, grain_deg)


def steel_bearing_pa(tensile_pa: float, thickness_m: float) -> float:
    """Dowel bearing strength of a steel side plate, 1.5 Fu, or 1.375 Fu below 1/4 inch."""
    return (1.5 if thickness_m >= 0.999 * _SMALL_M else 1.375) * tensile_pa


def hankinson(along: float, across: float, angle_deg: float) -> float:
    """Hankinson's formula: P Q / (P sin2 a + Q cos2 a)."""
    angle = math.radians(angle_deg)
    return along * across / (along * math.sin(angle) ** 2 + across * math.cos(angle) ** 2)


def combined_allowable_n(withdrawal_n: float, lateral_n: float, angle_deg: float) -> float:
    """Allowable load of a lag screw pulled at an angle to the face of the wood (NDS 12.4-1).

    W Z / (W cos2 a + Z sin2 a): 0 degrees is across the screw, 90 along it.
    """
    in_range("angle to the face in degrees", angle_deg, 0.0, 90.0)
    return hankinson(lateral_n, withdrawal_n, angle_deg)


def combined_share(
    axial_n: float, axial_strength_n: float, lateral_n: float, lateral_strength_n: float
) -> float:
    """Sum of squares of the shares along and across (EN 1995-1-1, 8.28, screws); 1 is used up."""
    return (axial_n / axial_strength_n) ** 2 + (lateral_n / lateral_strength_n) ** 2
