"""Fasteners in a group: how many of them count, how far apart, and what an arm adds.

Distances are those of EN 1995-1-1:2004, table 8.4 (bolts; screws above 6 mm across their axis) and
8.6 (screws along their axis), read in public quotations of the tables.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model.fasteners import in_range


@dataclass(frozen=True)
class Distances:
    """Least distances in wood, centre to centre or centre to edge.

    Attributes
    ----------
    along_m, across_m : float
        Between fasteners, along and across the grain.
    loaded_end_m, free_end_m : float
        To the end of the grain towards which the load acts, and to the other one.
    loaded_edge_m, free_edge_m : float
        To the edge beside the grain towards which the load acts, and to the other one.
    """

    along_m: float
    across_m: float
    loaded_end_m: float
    free_end_m: float
    loaded_edge_m: float
    free_edge_m: float


def bolt_distances(diameter_m: float, grain_deg: float = 0.0) -> Distances:
    """Least distances of bolts loaded across their axis (EN 1995-1-1, table 8.4).

    Of the unloaded end the larger value is taken, that for a load at 90 degrees.
    """
    in_range("angle to the grain in degrees", grain_deg, 0.0, 90.0)
    d, angle = diameter_m, math.radians(grain_deg)
    return Distances(
        along_m=(4 + math.cos(angle)) * d,
        across_m=4 * d,
        loaded_end_m=max(7 * d, 0.080),
        free_end_m=max((1 + 6 * math.sin(angle)) * d, 4 * d),
        loaded_edge_m=max((2 + 2 * math.sin(angle)) * d, 3 * d),
        free_edge_m=3 * d,
    )


def pulled_screw_distances(diameter_m: float) -> Distances:
    """Least distances of screws loaded along their axis (EN 1995-1-1, table 8.6)."""
    d = diameter_m
    return Distances(7 * d, 5 * d, 10 * d, 10 * d, 4 * d, 4 * d)


def effective_number(number: int, spacing_m: float, diameter_m: float) -> float:
    """How many of the fasteners in a row along the grain count, loaded along the row.

    min(n, n**0.9 (a / 13 d)**0.25), EN 1995-1-1, 8.34.
    """
    if number < 1:
        raise PlanError(f"{number} fasteners: at least one is needed")
    if number == 1:
        return 1.0
    in_range("spacing over diameter", spacing_m / diameter_m, 4.0, 100.0)
    apart = math.pow(spacing_m / (13.0 * diameter_m), 0.25)
    return min(float(number), math.pow(number, 0.9) * apart)


def most_pulled_n(force_n: float, arm_m: float, rows: Sequence[tuple[int, float]]) -> float:
    """Tension in each fastener of the farthest row of a bracket that a force tilts.

    The bracket is stiff and tilts about its edge: tension grows with the distance from that edge,
    F = P e l / sum(n l**2). Every screw carries its share of the shear besides.

    Parameters
    ----------
    force_n, arm_m : float
        Force along the face, and its distance from the face.
    rows : sequence of (int, float)
        Number of fasteners of each row, and distance of the row from the edge, metres.

    References
    ----------
    .. [1] V. B. Bhandari, Design of Machine Elements, example 7.6 (as worked in a public
       collection of its examples).
    """
    spread = sum(number * distance**2 for number, distance in rows)
    if not spread > 0.0:
        raise PlanError("no row of fasteners lies away from the edge about which it tilts")
    return force_n * arm_m * max(distance for _, distance in rows) / spread
