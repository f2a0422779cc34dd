"""Odds: the height that makes a proof most likely, and what to measure better for it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scipy.optimize import minimize_scalar

from tautlog.model.limits import K_FACTOR
from tautlog.planning.aim import Aim
from tautlog.planning.chance import Chance, chance_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import INPUTS, band_of, peak_parts
from tautlog.planning.solving import solve_height

WIDEST = 1.5  # heights that are tried, over and under that of the aim
HEIGHT_STEP_M = 0.001  # finer than a tape
CALIBRATION = "calibration"


@dataclass(frozen=True)
class Better:
    """What a better knowledge of one input would bring.

    Attributes
    ----------
    name : str
        One of `prediction.INPUTS`, or `CALIBRATION`.
    u_fraction : float
        Relative standard uncertainty of the peak that comes from it; 0 for an error of one sign
        only.
    proves : float
        Chance of a proof if it were known exactly, at the height that is then best.
    """

    name: str
    u_fraction: float
    proves: float


@dataclass(frozen=True)
class Odds:
    """The best height for a target.

    Attributes
    ----------
    height_m : float
        Height at which a proof is most likely; a peak from target to limit, if none can be
        proven.
    chance : Chance
        The chances there.
    better : tuple of Better
        What to measure better, the most rewarding first.
    """

    height_m: float
    chance: Chance
    better: tuple[Better, ...]


def odds_of(drop: PlannedDrop, target_n: float, limit_n: float, aim: Aim) -> Odds:
    """The height that makes a proof most likely, with mass and line as planned.

    Raises
    ------
    PlanError
        If no height reaches the aim.
    """
    start = solve_height(drop, aim.force_n)
    height_m, chance = _best(start, target_n, limit_n, aim)
    parts = peak_parts(replace(start, height_m=height_m))
    better = [
        Better(name, parts.get(name, 0.0), _best(start, target_n, limit_n, aim, name)[1].proves)
        for name in INPUTS
    ]
    perfect = Aim(aim.force_n, target_n, limit_n, "", 0.0)
    exact = _best(start, target_n, limit_n, perfect)[1].proves
    better.append(Better(CALIBRATION, aim.u_fraction / K_FACTOR, exact))
    return Odds(height_m, chance, tuple(sorted(better, key=lambda one: -one.proves)))


def _best(
    start: PlannedDrop, target_n: float, limit_n: float, aim: Aim, exact: str = ""
) -> tuple[float, Chance]:
    """Best height, and the chances there."""
    provable = aim.low_n < aim.high_n

    def at(height_m: float) -> Chance:
        drop = replace(start, height_m=height_m)
        band = band_of(drop, drop.peak_n(), exact=exact)
        return chance_of(band, target_n, limit_n, aim)

    def miss(height_m: float) -> float:
        found = at(height_m)
        return -(found.proves if provable else found.between)

    bounds = (start.height_m / WIDEST, start.height_m * WIDEST)
    found = minimize_scalar(miss, bounds=bounds, method="bounded", options={"xatol": HEIGHT_STEP_M})
    height_m = round(float(found.x), 3)
    return height_m, at(height_m)
