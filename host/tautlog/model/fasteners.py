"""Fasteners: what screws, bolts and shackles hold along their axis, by published formulas.

Across it: `lateral`. Several of them: `fastener_group`. In steel: `bolted_steel`.

The formulas are no structural proof: local codes and licensed practice decide, and a proof pull
of the real mount comes before any drop.
"""

from __future__ import annotations

import math

from tautlog.errors import PlanError

LBF_N = 4.4482216152605
INCH_M = 0.0254


def wood_screw_allowable_n(specific_gravity: float, diameter_m: float, thread_m: float) -> float:
    """Allowable withdrawal from side grain, 2850 G**2 D per inch of thread (NDS eq. 12.2-2).

    As quoted by public handbooks, for normal duration and dry wood. Not valid for end grain,
    which many codes forbid.
    """
    in_range("specific gravity", specific_gravity, 0.3, 0.8)
    per_inch_lbf = 2850.0 * specific_gravity**2 * (diameter_m / INCH_M)
    return per_inch_lbf * LBF_N * (thread_m / INCH_M)


def wood_screw_ultimate_n(specific_gravity: float, diameter_m: float, thread_m: float) -> float:
    """Mean ultimate withdrawal, p = 15 700 G**2 D L in pounds and inches.

    USDA Wood Handbook (FPL-GTR-190), chapter 8, as quoted by others. Five and a half times
    the allowable value: half of all screws hold less.
    """
    in_range("specific gravity", specific_gravity, 0.3, 0.8)
    pounds = 15_700.0 * specific_gravity**2 * (diameter_m / INCH_M) * (thread_m / INCH_M)
    return pounds * LBF_N


def lag_screw_allowable_n(
    specific_gravity: float, diameter_m: float, thread_m: float, *, end_grain: bool = False
) -> float:
    """Allowable withdrawal, 1800 G**1.5 D**0.75 per inch of thread (NDS eq. 12.2-1).

    From end grain it is three quarters (Wood Handbook, chapter 8). The tip of the thread does
    not count.
    """
    in_range("specific gravity", specific_gravity, 0.3, 0.8)
    per_inch_lbf = 1800.0 * math.pow(specific_gravity, 1.5) * math.pow(diameter_m / INCH_M, 0.75)
    return per_inch_lbf * LBF_N * (thread_m / INCH_M) * (0.75 if end_grain else 1.0)


def timber_screw_characteristic_n(
    density_kg_m3: float, diameter_m: float, thread_m: float, angle_deg: float = 90.0, n: int = 1
) -> float:
    """Characteristic withdrawal of EN 1995-1-1:2004, 8.7.2.

    f = 0.52 d**-0.5 l**-0.1 rho**0.8 in N, mm and kg/m3; F = n**0.9 f d l k_d / (1.2 cos2 a
    + sin2 a), k_d = min(d / 8, 1). Valid for 6 to 12 mm, l of 6 d and more, a of 30 to 90
    degrees; the exponent of the density is from memory. A design value is lower: multiply by
    k_mod, divide by gamma_M.
    """
    d, length = 1000.0 * diameter_m, 1000.0 * thread_m
    in_range("diameter in mm", d, 6.0, 12.0)
    in_range("thread length over diameter", length / d, 6.0, 100.0)
    in_range("angle to the grain in degrees", angle_deg, 30.0, 90.0)
    strength = 0.52 * math.pow(d, -0.5) * math.pow(length, -0.1) * math.pow(density_kg_m3, 0.8)
    angle = math.radians(angle_deg)
    slope = 1.2 * math.cos(angle) ** 2 + math.sin(angle) ** 2
    return math.pow(n, 0.9) * strength * d * length * min(d / 8.0, 1.0) / slope


PITCH_M = {5: 0.8, 6: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 16: 2.0}
PROOF_STRESS_PA = {"8.8": 580e6}


def stress_area_m2(size_mm: int) -> float:
    """Stress area of a coarse metric thread, pi / 4 (d - 0.938194 P)**2 (ISO 898-1)."""
    if size_mm not in PITCH_M:
        raise PlanError(f"M{size_mm}: allowed are {', '.join(f'M{size}' for size in PITCH_M)}")
    return 0.25 * math.pi * ((size_mm - 0.938194 * PITCH_M[size_mm]) / 1000.0) ** 2


def bolt_proof_n(size_mm: int, strength_class: str = "8.8") -> float:
    """Proof load of a bolt, stress area times proof stress (ISO 898-1, to 16 mm)."""
    if strength_class not in PROOF_STRESS_PA:
        raise PlanError(f"class {strength_class}: allowed are {', '.join(PROOF_STRESS_PA)}")
    return stress_area_m2(size_mm) * PROOF_STRESS_PA[strength_class]


def shackle_working_n(diameter_m: float) -> float:
    """Working load of a shackle, 0.417 D**2 tonnes with D in centimetres.

    U.S. Navy NAVEDTRA 14251, Steelworker. A shackle's own marking comes first.
    """
    return 0.417 * (100.0 * diameter_m) ** 2 * 1000.0 * 9.80665


def in_range(name: str, value: float, least: float, most: float) -> None:
    """Refuse a value for which a formula was not made."""
    if not least <= value <= most:
        raise PlanError(f"{name} {value:g}: the formula is valid for {least:g} to {most:g}")
