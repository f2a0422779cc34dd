"""Bolts in steel, and tapped threads: bearing, shear, tension, and how deep a thread must go.

EN 1993-1-8, tables 3.3 and 3.4, as quoted by public tables and pages. They give design strengths,
for loads that carry partial factors of their own; use them as `computed` in [[element]] with a
factor.
"""

from __future__ import annotations

import math

from tautlog.errors import PlanError
from tautlog.model.fasteners import PITCH_M, in_range, stress_area_m2

GAMMA_M2 = 1.25
BOLT_TENSILE_PA = {"4.6": 400e6, "8.8": 800e6, "10.9": 1000e6}
_SHEAR_SHARE = {"4.6": 0.6, "8.8": 0.6, "10.9": 0.5}
LEAST_EDGE, LEAST_PITCH = 1.2, 2.2  # hole diameters, table 3.3
SHEAR_OF_TENSILE = 0.6  # common practice
# Coarse threads: smallest outside diameter of the bolt (6g), largest pitch diameter of the hole
# (6H), in mm; ISO 965, from memory. M10's pitch diameter is that of the published example.
THREADS_MM = {
    6: (5.794, 5.500),
    8: (7.760, 7.348),
    10: (9.732, 9.206),
    12: (11.701, 11.063),
    16: (15.682, 14.913),
}


def bolt_shear_n(size_mm: int, strength_class: str = "8.8") -> float:
    """Design strength in shear, thread in the shear plane: 0.6 (10.9: 0.5) fub As / 1.25."""
    share = _known(strength_class, _SHEAR_SHARE)
    return share * BOLT_TENSILE_PA[strength_class] * stress_area_m2(size_mm) / GAMMA_M2


def bolt_tension_n(size_mm: int, strength_class: str = "8.8") -> float:
    """Design strength in tension, 0.9 fub As / 1.25."""
    tensile_pa = _known(strength_class, BOLT_TENSILE_PA)
    return 0.9 * tensile_pa * stress_area_m2(size_mm) / GAMMA_M2


def bearing_factors(hole_m: float, end_m: float, edge_m: float) -> tuple[float, float]:
    """Factors alpha_b and k_1 of a bolt at the end of a plate (table 3.4), at most 1 and 2.5."""
    for name, distance_m in (("end", end_m), ("edge", edge_m)):
        if distance_m < 0.999 * LEAST_EDGE * hole_m:
            raise PlanError(
                f"{name} distance {1000 * distance_m:g} mm: at least {LEAST_EDGE:g} hole "
                f"diameters, {1000 * LEAST_EDGE * hole_m:.1f} mm, are needed"
            )
    return min(1.0, end_m / (3.0 * hole_m)), min(2.5, 2.8 * edge_m / hole_m - 1.7)


def plate_bearing_n(
    bolt_m: float, thickness_m: float, tensile_pa: float, *, end_m: float, edge_m: float
) -> float:
    """Design bearing strength of a plate at one bolt, k_1 alpha_b fu d t / 1.25.

    The hole is 2 mm wider than the bolt, 1 mm up to M14. A plate that is harder than a bolt of
    class 8.8 bears no more, for then the bolt gives (alpha_b has f_ub / f_u).

    Parameters
    ----------
    bolt_m, thickness_m : float
        Diameter of the bolt, thickness of the plate.
    tensile_pa : float
        Tensile strength of the plate.
    end_m, edge_m : float
        From the hole's centre to the end towards which the bolt pushes, and to the edge beside it.
    """
    tensile_pa = min(tensile_pa, BOLT_TENSILE_PA["8.8"])
    hole_m = bolt_m + (0.001 if bolt_m < 0.0145 else 0.002)
    end_factor, edge_factor = bearing_factors(hole_m, end_m, edge_m)
    return edge_factor * end_factor * tensile_pa * bolt_m * thickness_m / GAMMA_M2


def washer_on_wood_n(
    across_grain_pa: float, washer_m: float, bolt_m: float, plate_m: float
) -> float:
    """Characteristic strength of a plate or washer pressed on wood across the grain.

    3 f_c,90,k times its area without the hole (EN 1995-1-1, 8.5.2). Of a large plate a circle of
    12 plate thicknesses or 4 bolt diameters counts, the smaller.
    """
    washer_m = min(washer_m, 12.0 * plate_m, 4.0 * bolt_m)
    if washer_m <= bolt_m + 0.001:
        raise PlanError(f"washer {1000 * washer_m:g} mm: counts; it must be wider than the hole")
    area = 0.25 * math.pi * (washer_m**2 - (bolt_m + 0.001) ** 2)
    return 3.0 * across_grain_pa * area


def tapped_shear_area_m(outside_m: float, hole_pitch_m: float, pitch_m: float) -> float:
    """Shear area of a tapped thread for each metre of engagement (FED-STD-H28/2B).

    pi D / P (P / 2 + tan 30 (D - E)): D of the bolt's outside, E of the hole's pitch diameter.
    """
    in_range("pitch over outside diameter", pitch_m / outside_m, 0.05, 0.3)
    slope = 1.0 / math.sqrt(3.0)
    return math.pi * outside_m / pitch_m * (0.5 * pitch_m + slope * (outside_m - hole_pitch_m))


def tapped_hole_n(size_mm: int, engaged_m: float, tensile_pa: float) -> float:
    """Load at which a tapped coarse thread strips, shear strength 0.6 of the tensile strength."""
    if size_mm not in THREADS_MM:
        raise PlanError(f"M{size_mm}: allowed are {', '.join(f'M{size}' for size in THREADS_MM)}")
    outside, hole = (value / 1000.0 for value in THREADS_MM[size_mm])
    area = tapped_shear_area_m(outside, hole, PITCH_M[size_mm] / 1000.0) * engaged_m
    return SHEAR_OF_TENSILE * tensile_pa * area


def _known(strength_class: str, table: dict[str, float]) -> float:
    if strength_class not in table:
        raise PlanError(f"class {strength_class}: allowed are {', '.join(table)}")
    return table[strength_class]
