"""Solving: the height, mass or stiffness that gives a drop a wanted peak."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from scipy.optimize import brentq

from tautlog.errors import PlanError
from tautlog.mechanics import closed_forms as predict
from tautlog.model.display_units import SI, Units
from tautlog.model.shown import shown_force
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning.planned_drop import PlannedDrop

# Common practice, no source.
LEAST_MASS_KG, MOST_MASS_KG = 0.5, 200.0
MOST_HEIGHT_M = 10.0


def solve_height(drop: PlannedDrop, peak_n: float, units: Units = SI) -> PlannedDrop:
    """Give a drop the height that gives a wanted peak.

    Raises
    ------
    PlanError
        If no height up to ten metres gives it.
    """
    weight_n = drop.mass_kg * G
    least_n = _peak(replace(drop, height_m=0.0))
    if peak_n <= least_n:
        wanted = shown_force(peak_n, None, (least_n,), units)
        raise PlanError(
            f"{wanted.text} is less than the {wanted.level()} of a sled of "
            f"{units.text(drop.mass_kg, 'kg', 'g')} "
            "that does not fall at all: take a lighter sled"
        )
    guess = peak_n * (peak_n - 2 * weight_n) / (2 * weight_n * drop.line.stiffness_n_per_m)
    height = _root(
        lambda h: _peak(replace(drop, height_m=h)) - peak_n,
        peak_n,
        min(max(guess, 1e-3), MOST_HEIGHT_M),
        MOST_HEIGHT_M,
    )
    if height is None:
        raise PlanError(
            f"no height up to {units.text(MOST_HEIGHT_M, 'm', 'g')} gives "
            f"{units.text(peak_n, 'N')} with {units.text(drop.mass_kg, 'kg', 'g')} "
            "and this line: take a heavier sled or a stiffer line"
        )
    return replace(drop, height_m=height)


def solve_mass(drop: PlannedDrop, peak_n: float, units: Units = SI) -> PlannedDrop:
    """Give a drop the mass that gives a wanted peak; the line's damping ratio stays.

    Raises
    ------
    PlanError
        If no mass from 0.5 to 200 kg gives it.
    """
    friction = drop.rails_n

    def miss(mass: float) -> float:
        tried = replace(drop, mass_kg=mass)
        if friction is not None and friction >= mass * G:
            return -peak_n
        return _peak(tried) - peak_n

    if miss(LEAST_MASS_KG) > 0 or miss(MOST_MASS_KG) < 0:
        raise PlanError(
            f"no sled of {units.band(LEAST_MASS_KG, MOST_MASS_KG, 'kg', 'g')} gives "
            f"{units.text(peak_n, 'N')} from {units.text(drop.height_m, 'm', 'g')} with this line"
        )
    return replace(drop, mass_kg=float(brentq(miss, LEAST_MASS_KG, MOST_MASS_KG, rtol=1e-6)))


def solve_stiffness(drop: PlannedDrop, peak_n: float, units: Units = SI) -> PlannedDrop:
    """Give a drop's line the stiffness that gives a wanted peak.

    Raises
    ------
    PlanError
        If the peak is below 2 m g, the peak of the softest line, or out of reach.
    """
    try:
        guess = predict.stiffness_for_peak_n_per_m(drop.mass_kg, drop.height_m, peak_n)
    except ValueError as problem:
        raise PlanError(f"no line gives {units.text(peak_n, 'N')}: {problem}") from problem

    def at(k: float) -> PlannedDrop:
        return drop.with_stiffness(k)

    found = _root(lambda k: _peak(at(k)) - peak_n, peak_n, guess, 1e9)
    if found is None:
        raise PlanError(f"no line gives {units.text(peak_n, 'N')} with this sled and height")
    return at(found)


def _peak(drop: PlannedDrop) -> float:
    return drop.peak_n()


def _root(miss: Callable[[float], float], wanted: float, guess: float, most: float) -> float | None:
    """The x at which a peak that grows with x has the wanted value, from a guess.

    A peak grows about as the root of height and of stiffness, so that x times the square of
    wanted over found converges fast. If it does not, the root is bracketed.
    """
    x = guess
    for _ in range(6):
        off = miss(x)
        if abs(off) < 1e-5 * wanted:
            return x
        x = x * (wanted / (wanted + off)) ** 2
        if not 0.0 < x < most:
            break
    return _bracketed(miss, guess, most)


def _bracketed(miss: Callable[[float], float], guess: float, most: float) -> float | None:
    low, high = 0.8 * guess, min(1.25 * guess, most)
    while miss(low) > 0:
        low *= 0.5
        if low < 1e-9:
            return None
    while miss(high) < 0:
        if high >= most:
            return None
        high = min(1.6 * high, most)
    return float(brentq(miss, low, high, rtol=1e-5, xtol=1e-12))
