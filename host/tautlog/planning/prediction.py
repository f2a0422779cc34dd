"""Plan: what a drop will do, and which drop does what is wanted.

The motion is that of `mechanics`: a line that hardens and damps, rails with friction,
gravity all the time. A prediction has a band: of the stiffness, of bedding-in, friction,
mass and height. What is aimed at is not the target but the middle of what can be proven.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from tautlog.errors import PlanError
from tautlog.model.limits import (
    FRICTION_MOST,
    FRICTION_TOLD_U,
    GO_ON_WITHIN,
    HEIGHT_U_M,
    K_FACTOR,
    MASS_U_FRACTION,
    OVERLOAD_PER_TARGET,
)
from tautlog.model.line import Line
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning import closed_forms as predict
from tautlog.planning.mechanics import RigModel, fall, first_peak_n

FloatArray = npt.NDArray[np.float64]

# Common practice, no source.
LADDER = (0.25, 0.5, 0.75, 0.9, 1.0)
LEAST_MASS_KG, MOST_MASS_KG = 0.5, 200.0
MOST_HEIGHT_M = 10.0


@dataclass(frozen=True)
class Drop:
    """A drop as it is planned.

    Attributes
    ----------
    mass_kg, height_m : float
        All that moves; free travel until the line is taut.
    line : Line
        What springs taut.
    friction_n : float or None
        Of the rails; None when nobody knows it.
    """

    mass_kg: float
    height_m: float
    line: Line
    friction_n: float | None = None

    def model(self) -> RigModel:
        """Motion of this drop.

        Raises
        ------
        PlanError
            If a value is out of range.
        """
        try:
            return RigModel(
                mass_kg=self.mass_kg,
                height_m=self.height_m,
                stiffness_n_per_m=self.line.stiffness_n_per_m,
                hardening_per_m2=self.line.hardening_per_m2,
                damping_ratio=self.line.damping_ratio,
                friction_n=self.friction_for_plan_n,
            )
        except ValueError as problem:
            raise PlanError(f"no such drop: {problem}") from problem

    @property
    def friction_for_plan_n(self) -> float:
        """Friction to reckon with."""
        if self.friction_n is not None:
            return self.friction_n
        return 0.0


@dataclass(frozen=True)
class Prediction:
    """What a drop will do.

    Attributes
    ----------
    mass_kg, height_m, stiffness_n_per_m : float
        Of the drop.
    peak_force_n, peak_low_n, peak_high_n : float
        Peak of the first pull; its band (k = 2, and bedding-in on top).
    duration_s, rise_time_s, base_duration_s : float
        Above 10 % of the peak; from 10 to 90 %; taut to slack.
    stretch_m : float
        Largest stretch of line and rig.
    energy_j, energy_absorbed_j : float
        Of the sled as the line comes taut, m v**2 / 2; what line and rig take up.
    taut_speed_m_s, fall_time_s : float
        As the line comes taut; from the release until then.
    impulse_ns : float
        Of the first pull.
    quasi_peak_n : float
        Closed form without losses, m g (1 + sqrt(1 + 2 k h / (m g))), to compare with.
    """

    mass_kg: float
    height_m: float
    stiffness_n_per_m: float
    peak_force_n: float
    peak_low_n: float
    peak_high_n: float
    duration_s: float
    rise_time_s: float
    base_duration_s: float
    stretch_m: float
    energy_j: float
    energy_absorbed_j: float
    taut_speed_m_s: float
    fall_time_s: float
    impulse_ns: float
    quasi_peak_n: float


def _span_s(model: RigModel) -> float:
    """Time that surely holds the first pull."""
    fall_s = math.sqrt(2.0 * model.height_m / model.acceleration_m_s2(rising=False))
    return fall_s + 2.2 * math.pi * math.sqrt(model.mass_kg / model.stiffness_n_per_m)


def predict_drop(drop: Drop) -> Prediction:
    """Solve a drop's first pull.

    Raises
    ------
    PlanError
        If a value is out of range, or the line never slackens again.
    """
    model = drop.model()
    truth = fall(model, duration_s=_span_s(model)).truth()
    peak_n = truth.peak_force_n
    if peak_n is None or truth.taut_speed_m_s is None or truth.rise_time_s is None:
        raise PlanError("the line does not come taut: give a height")
    low_n, high_n = _band(drop, peak_n)
    return Prediction(
        mass_kg=drop.mass_kg,
        height_m=drop.height_m,
        stiffness_n_per_m=drop.line.stiffness_n_per_m,
        peak_force_n=peak_n,
        peak_low_n=low_n,
        peak_high_n=high_n,
        duration_s=truth.duration_s or math.nan,
        rise_time_s=truth.rise_time_s,
        base_duration_s=truth.base_duration_s or math.nan,
        stretch_m=truth.max_stretch_m or math.nan,
        energy_j=0.5 * drop.mass_kg * truth.taut_speed_m_s**2,
        energy_absorbed_j=truth.energy_absorbed_j or math.nan,
        taut_speed_m_s=truth.taut_speed_m_s,
        fall_time_s=truth.fall_time_s or 0.0,
        impulse_ns=truth.impulse_ns or math.nan,
        quasi_peak_n=predict.elastic_impact_peak_n(
            drop.mass_kg, drop.height_m, drop.line.stiffness_n_per_m
        ),
    )


def _band(drop: Drop, peak_n: float) -> tuple[float, float]:
    """Lowest and highest peak to reckon with.

    Root sum of squares of what each input's standard uncertainty does to the closed form's
    peak, times 2; bedding-in only makes a line stiffer and is put on top, friction that nobody
    told only makes the sled slower and is put below.
    """
    share = _closed_form_shares(drop)
    weight_n = drop.mass_kg * G
    told = drop.friction_n is not None
    u = math.sqrt(
        (share["stiffness"] * drop.line.stiffness_u_fraction) ** 2
        + (share["height"] * HEIGHT_U_M / max(drop.height_m, HEIGHT_U_M)) ** 2
        + (share["mass"] * MASS_U_FRACTION) ** 2
        + (share["height"] * (FRICTION_TOLD_U if told else 0.0)) ** 2
    )
    stiffer = (1.0 + drop.line.may_stiffen) ** share["stiffness"]
    slower = 1.0 if told else 1.0 - share["height"] * FRICTION_MOST
    low_n = peak_n * (1.0 - K_FACTOR * u) * slower
    return max(low_n, weight_n), peak_n * (1.0 + K_FACTOR * u) * stiffer


def _closed_form_shares(drop: Drop) -> dict[str, float]:
    """Relative change of the peak over that of each input, from the closed form."""
    weight_n = drop.mass_kg * G
    ratio = 2.0 * drop.line.stiffness_n_per_m * drop.height_m / weight_n
    root = math.sqrt(1.0 + ratio)
    of_stiffness = 0.5 * ratio / (root * (1.0 + root))
    return {"stiffness": of_stiffness, "height": of_stiffness, "mass": 1.0 - of_stiffness}


# Solving for what is wanted


def solve_height(drop: Drop, peak_n: float) -> Drop:
    """Give a drop the height that makes a peak.

    Raises
    ------
    PlanError
        If no height up to ten metres does.
    """
    weight_n = drop.mass_kg * G
    least_n = _peak(replace(drop, height_m=0.0))
    if peak_n <= least_n:
        raise PlanError(
            f"{peak_n:.0f} N is less than the {least_n:.0f} N of a sled of {drop.mass_kg:g} kg "
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
            f"no height up to {MOST_HEIGHT_M:g} m makes {peak_n:.0f} N with {drop.mass_kg:g} kg "
            "and this line: take a heavier sled or a stiffer line"
        )
    return replace(drop, height_m=height)


def solve_mass(drop: Drop, peak_n: float) -> Drop:
    """Give a drop the mass that makes a peak; the line's damping ratio stays.

    Raises
    ------
    PlanError
        If no mass from 0.5 to 200 kg does.
    """
    friction = drop.friction_n

    def miss(mass: float) -> float:
        one = replace(drop, mass_kg=mass)
        if friction is not None and friction >= mass * G:
            return -peak_n
        return _peak(one) - peak_n

    if miss(LEAST_MASS_KG) > 0 or miss(MOST_MASS_KG) < 0:
        raise PlanError(
            f"no sled of {LEAST_MASS_KG:g} to {MOST_MASS_KG:g} kg makes {peak_n:.0f} N from "
            f"{drop.height_m:g} m with this line"
        )
    return replace(drop, mass_kg=float(brentq(miss, LEAST_MASS_KG, MOST_MASS_KG, rtol=1e-6)))


def solve_stiffness(drop: Drop, peak_n: float) -> Drop:
    """Give a drop's line the stiffness that makes a peak.

    Raises
    ------
    PlanError
        If the peak is below that of the softest line, 2 m g, or out of reach.
    """
    try:
        guess = predict.stiffness_for_peak_n_per_m(drop.mass_kg, drop.height_m, peak_n)
    except ValueError as problem:
        raise PlanError(f"no line makes {peak_n:.0f} N: {problem}") from problem

    def at(k: float) -> Drop:
        return replace(drop, line=replace(drop.line, stiffness_n_per_m=k))

    found = _root(lambda k: _peak(at(k)) - peak_n, peak_n, guess, 1e9)
    if found is None:
        raise PlanError(f"no line makes {peak_n:.0f} N with this sled and height")
    return at(found)


def _peak(drop: Drop) -> float:
    return first_peak_n(drop.model())


def _root(miss: Callable[[float], float], wanted: float, guess: float, most: float) -> float | None:
    """Where a peak that grows with x is what is wanted, from a guess.

    A peak goes about as the root of height and of stiffness: x times the square of wanted
    over found is soon there. What that does not find is bracketed.
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


# What to aim at


@dataclass(frozen=True)
class Aim:
    """What to aim at so that a target is proven.

    Attributes
    ----------
    force_n : float
        Aim.
    low_n, high_n : float
        What must be measured to be proven on target: target / (1 - U) to limit / (1 + U).
    note : str
        Why this aim, in words.
    """

    force_n: float
    low_n: float
    high_n: float
    note: str


def aim_for(target_n: float, limit_n: float | None, expanded_u_fraction: float) -> Aim:
    """Return the guard-banded aim (ILAC-G8:09/2019, decision rules).

    Parameters
    ----------
    target_n, limit_n : float, float or None
        Without a limit it is 1.1 x target.
    expanded_u_fraction : float
        Expanded relative uncertainty (k = 2) of the measured peak.

    Raises
    ------
    PlanError
        If the numbers are out of range.
    """
    upper = OVERLOAD_PER_TARGET * target_n if limit_n is None else limit_n
    u = expanded_u_fraction
    if not (target_n > 0 and upper > target_n and 0 <= u < 1):
        raise PlanError(
            f"target {target_n:g} N, limit {upper:g} N, uncertainty {u:g}: allowed are target > 0, "
            "limit > target, 0 <= uncertainty < 1"
        )
    low, high = target_n / (1.0 - u), upper / (1.0 + u)
    if low <= high:
        return Aim(
            0.5 * (low + high),
            low,
            high,
            f"measured {low:.0f} to {high:.0f} N is proven on target with U = {100 * u:.2g} %",
        )
    return Aim(
        low,
        low,
        high,
        f"with U = {100 * u:.2g} % nothing can be proven to lie within {target_n:.0f} and "
        f"{upper:.0f} N: aim for {low:.0f} N to prove the target, and answer overload by itself; "
        "or lower U, or widen the band",
    )


@dataclass(frozen=True)
class Step:
    """One step of a ladder: its share of the aim, the prediction, and what must hold first."""

    fraction: float
    prediction: Prediction
    purpose: str
    hold: str


_PURPOSE = {
    0.25: "check of rig and recorder on a dummy article",
    1.0: "the qualifying drop",
}
HOLD = (
    "go on only if the record is valid, measured over predicted is within "
    f"{100 * GO_ON_WITHIN:.0f} %, nothing moved or changed, and the mount is proven for the next "
    "step"
)
STOP_RULES = (
    "any movement of the mount",
    "a second peak that nobody can explain",
    "the sled touches the catch before the line is slack",
    "a crack, a slip or a changed length of the article",
    "two invalid records one after the other",
    "a peak above the target of the next step",
)


def ladder(drop: Drop, aim_n: float, fractions: tuple[float, ...] = LADDER) -> list[Step]:
    """Return the drops that lead up to an aim, by load: peak goes as the root of height.

    Raises
    ------
    PlanError
        If a step cannot be reached by height alone.
    """
    if not fractions or any(not 0 < one <= 1.5 for one in fractions):
        raise PlanError(f"steps {fractions}: allowed are shares of the load, > 0 and <= 1.5")
    steps = []
    for fraction in sorted(fractions):
        one = solve_height(drop, fraction * aim_n)
        steps.append(Step(fraction, predict_drop(one), _PURPOSE.get(fraction, "a step up"), HOLD))
    return steps


def force_curve(drop: Drop, samples: int = 1200) -> tuple[FloatArray, FloatArray]:
    """Time since the line came taut, and force, of the first pull, with some slack around."""
    model = drop.model()
    motion = fall(model, duration_s=_span_s(model))
    truth = motion.truth()
    onset = truth.onset_time_s or 0.0
    length = truth.base_duration_s or (_span_s(model) - onset)
    time_s = np.linspace(-0.15 * length, 1.15 * length, samples)
    return time_s, motion.force_n(time_s + onset)
