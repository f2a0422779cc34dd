"""Leg vectors: what legs at stated angles pull together, and how unequally.

Two legs of half-angle a under a load W pull W / (2 cos a) each; n legs W / (n cos a). It is the
statics of a symmetric bridle, which sling angle tables give as a factor: 1.000, 1.155, 1.414 and
2.000 at 0, 30, 45 and 60 degrees from the vertical.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.model.leg_facts import LegFacts
from tautlog.model.limits import K_FACTOR

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LegForce:
    """Force of one leg at one instant.

    Attributes
    ----------
    force_n : float
        Along the leg.
    gain_u_n, noise_u_n : float
        Standard uncertainties: of the calibration, which legs may have in common; and of its own.
    """

    force_n: float
    gain_u_n: float = 0.0
    noise_u_n: float = 0.0


@dataclass(frozen=True)
class Resultant:
    """What the legs pull together.

    Attributes
    ----------
    axial_n, axial_expanded_u_n : float
        Along the vertical.
    total_n, total_expanded_u_n, off_vertical_deg : float or None
        The vector's size and its angle to the vertical; None if an azimuth is not stated.
    """

    axial_n: float
    axial_expanded_u_n: float
    total_n: float | None = None
    total_expanded_u_n: float | None = None
    off_vertical_deg: float | None = None


def resultant(forces: Sequence[LegForce], facts: Sequence[LegFacts]) -> Resultant:
    """The vector sum of legs (JCGM 100:2008, 5.1.2 and 5.2.2).

    With the direction d of the sum (the vertical, or the sum's own), dF = d . u_i for a force and
    F_i d . du_i / da for an angle. Gains are taken as fully correlated, because legs may share
    weights and people: their parts are added. Noise and angles are independent.

    Parameters
    ----------
    forces : sequence of LegForce
        In the order of `facts`.
    facts : sequence of LegFacts
        Each with its angle to the vertical.
    """
    up = np.array([0.0, 0.0, 1.0])
    pulls_n = np.array([one.force_n for one in forces])
    known = all(one.azimuth_deg is not None or not one.sine for one in facts)
    directions = np.array([_direction(one) for one in facts])
    axial_n = float(pulls_n @ directions @ up)
    axial = Resultant(axial_n, _expanded_u_n(forces, facts, up))
    whole = pulls_n @ directions
    total_n = float(np.linalg.norm(whole))
    if not known or not total_n:
        return axial
    off = math.degrees(math.acos(max(-1.0, min(1.0, axial_n / total_n))))
    spread_n = _expanded_u_n(forces, facts, whole / total_n)
    return Resultant(axial.axial_n, axial.axial_expanded_u_n, total_n, spread_n, off)


def axial_u_fraction(forces_n: Sequence[float], facts: Sequence[LegFacts]) -> float:
    """Expanded relative uncertainty of the sum along the vertical, from the angles alone."""
    forces = [LegForce(force) for force in forces_n]
    told = resultant(forces, facts)
    return told.axial_expanded_u_n / abs(told.axial_n) if told.axial_n else 0.0


def asymmetry(forces: Sequence[LegForce]) -> tuple[float, float] | None:
    """How unequal legs pull, and its expanded uncertainty (k = 2); None if none pulls.

    Own definition: (largest - smallest) / (largest + smallest) force at one instant. 0 are equal
    legs, 1 is a slack one. With s = largest + smallest, its derivatives are 2 smallest / s**2 and
    -2 largest / s**2, the forces taken as independent. A difference within its uncertainty says
    nothing: of equal legs the value is never below 0.
    """
    ordered = sorted(forces, key=lambda one: one.force_n)
    low, high = ordered[0], ordered[-1]
    both_n = high.force_n + low.force_n
    if len(forces) < 2 or high.force_n <= 0.0 or both_n <= 0.0:
        return None
    spread_n = math.hypot(
        low.force_n * math.hypot(high.gain_u_n, high.noise_u_n),
        high.force_n * math.hypot(low.gain_u_n, low.noise_u_n),
    )
    value = (high.force_n - low.force_n) / both_n
    return value, K_FACTOR * 2.0 * spread_n / both_n**2


def _direction(one: LegFacts) -> tuple[float, float, float]:
    around = math.radians(one.azimuth_deg or 0.0)
    return one.sine * math.cos(around), one.sine * math.sin(around), one.cosine


def _expanded_u_n(
    forces: Sequence[LegForce], facts: Sequence[LegFacts], along: FloatArray
) -> float:
    """Expanded uncertainty (k = 2) of the sum's part along a direction."""
    gains, taken_n, others = 0.0, 0.0, []
    for one, fact in zip(forces, facts, strict=True):
        part = float(np.dot(along, _direction(fact)))
        gains += abs(part) * one.gain_u_n
        others.append(part * one.noise_u_n)
        around = math.radians(fact.azimuth_deg or 0.0)
        tilted = (
            fact.cosine * math.cos(around),
            fact.cosine * math.sin(around),
            -fact.sine,
        )
        turned = (-fact.sine * math.sin(around), fact.sine * math.cos(around), 0.0)
        for moved in (tilted, turned):
            others.append(one.force_n * fact.angle_u_rad * float(np.dot(along, moved)))
        # A cosine near its top has no slope: the angle takes F cos a u**2 / 2 on average, with
        # the root of 2 of that as scatter (JCGM 100:2008, 5.1.2, note). The mean is not taken off
        # the sum, because the stated angle may be the true one; it widens the interval.
        bent_n = 0.5 * abs(one.force_n * part) * fact.angle_u_rad**2
        others.append(math.sqrt(2.0) * bent_n)
        taken_n += bent_n
    return K_FACTOR * math.hypot(gains, *others) + taken_n
