"""Trend: what the peaks of a line's drops say of the next peak, beside the line's constants.

A real line is no cubic spring with one damper, and a rig is not all in its traces: webbing stiffens
or rubs, a beam swings along. What the model lacks is alike in all drops of one rig, and changes
slowly with the energy of the drop. So each drop gives its peak over that of the constants; a
straight line through their logarithms, over the logarithm of the energy, gives that of the next
drop, with the uncertainty of a prediction (JCGM 100:2008, H.3; weighted, with a known standard
uncertainty of each drop and a prior about the slope: A. Gelman and others, Bayesian Data Analysis,
chapter 14, from memory). Errors that all drops share, as of the cell, of the scale or in the
friction of the rails, are in it already, and cost the next drop nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol

import numpy as np

from tautlog.errors import PlanError
from tautlog.model.limits import HEIGHT_U_M
from tautlog.model.line import Line, Trend
from tautlog.planning.planned_drop import PlannedDrop

# Relative standard uncertainties, from drops of an independent simulator with lines of seven kinds
# (tests/benchmarks/bands.py, seeds below 1000).
SCATTER_U = 0.005  # of a peak from drop to drop, beside that of the height
SLOPE_U = 0.1  # of the slope before any drop told of it: the peak of twice the energy, 7 % off
NEWEST = 12  # drops that a trend is made from; what a line did long ago says less of it
MOST_OFF = 0.7  # of the logarithm of measured over predicted; beyond it is another line


class Told(Protocol):
    """What a drop tells: its set-up and its peak."""

    @property
    def mass_kg(self) -> float:
        """Mass of all that moved."""

    @property
    def height_m(self) -> float:
        """Free travel."""

    @property
    def peak_n(self) -> float:
        """Measured peak."""


@lru_cache(maxsize=64)
def trend_of(drops: tuple[Told, ...], line: Line, friction_n: float | None) -> Trend | None:
    """The trend of a line's drops, oldest first; None if none can be explained.

    Parameters
    ----------
    drops : tuple of Told
        Drops of the line as it is now.
    line : Line
        Its constants; a trend that it has is left out.
    friction_n : float or None
        Friction of the rails with which the next drop will be predicted, too.
    """
    found = []
    for one in drops[-NEWEST:]:
        drop = PlannedDrop(one.mass_kg, one.height_m, line.without_trend(), friction_n)
        off = _off(drop, one.peak_n)
        if off is not None:
            # A peak goes with about the root of the height.
            height_u = 0.5 * HEIGHT_U_M / max(one.height_m, HEIGHT_U_M)
            found.append((math.log(drop.energy_j), off, math.hypot(SCATTER_U, height_u)))
    return _fitted(found, friction_n) if found else None


def _off(drop: PlannedDrop, peak_n: float) -> float | None:
    """Logarithm of measured over predicted peak; None if no line of this kind explains it."""
    try:
        off = math.log(peak_n / drop.peak_n())
    except (PlanError, ValueError):
        return None
    return off if abs(off) <= MOST_OFF else None


def _fitted(found: Sequence[tuple[float, float, float]], friction_n: float | None) -> Trend:
    """Weighted least squares, the prior of the slope as one observation more."""
    at, values, u = (np.array(column) for column in zip(*found, strict=True))
    middle = float(np.average(at, weights=u**-2.0))  # there level and slope are independent
    weight, lever = float((u**-2.0).sum()), float((((at - middle) / u) ** 2).sum())
    level = float(np.average(values, weights=u**-2.0))
    slope_u = (lever + SLOPE_U**-2.0) ** -0.5
    slope = slope_u**2 * float(((at - middle) * values / u**2).sum())
    left = float((((values - level - slope * (at - middle)) / u) ** 2).sum())
    left += (slope / SLOPE_U) ** 2
    # Drops that scatter more than they should: all uncertainties grow (R. T. Birge, Phys. Rev. 40
    # (1932) 207, from memory).
    birge = math.sqrt(max(left / (len(found) - 1), 1.0)) if len(found) > 1 else 1.0
    return Trend(
        energy_j=math.exp(middle),
        level=level,
        slope=slope,
        level_u=birge * weight**-0.5,
        slope_u=birge * slope_u,
        scatter_u=birge * SCATTER_U,
        friction_n=friction_n,
    )
