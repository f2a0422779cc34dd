"""Prediction: what a planned drop will do.

`motion` solves the fall: a line that hardens and damps, rails with friction, gravity all the
time. The band of a prediction comes from stiffness, bedding-in, friction, mass and height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.errors import PlanError
from tautlog.mechanics import closed_forms as predict
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.limits import (
    FRICTION_MOST,
    FRICTION_TOLD_U,
    HEIGHT_U_M,
    K_FACTOR,
    MASS_U_FRACTION,
)
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning.planned_drop import PlannedDrop

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Prediction:
    """What a drop will do.

    Attributes
    ----------
    mass_kg, height_m, stiffness_n_per_m : float
        Values of the drop.
    peak_force_n, peak_low_n, peak_high_n : float
        Peak of the first pull; its band (k = 2, and bedding-in on top).
    duration_s, rise_time_s, base_duration_s : float
        Above 10 % of the peak; from 10 to 90 %; taut to slack.
    stretch_m : float
        Largest stretch of line and rig.
    energy_j, energy_absorbed_j : float
        Energy of the sled as the line comes taut, m v**2 / 2; energy that line and rig take up.
    taut_speed_m_s, fall_time_s : float
        Speed as the line comes taut; time from the release until then.
    impulse_ns : float
        Impulse of the first pull.
    quasi_peak_n : float
        Closed form without losses, m g (1 + sqrt(1 + 2 k h / (m g))), for comparison.
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

    @property
    def pulse_s(self) -> float:
        """Length of the pull; four times its rise if the line never slackens."""
        if math.isfinite(self.base_duration_s):
            return self.base_duration_s
        return 4.0 * self.rise_time_s


def _span_s(model: RigModel) -> float:
    """Time that surely holds the first pull."""
    fall_s = math.sqrt(2.0 * model.height_m / model.acceleration_m_s2(rising=False))
    return fall_s + 2.2 * math.pi * math.sqrt(model.mass_kg / model.stiffness_n_per_m)


def predict_drop(drop: PlannedDrop) -> Prediction:
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
    peak_n *= drop.factor
    band = band_of(drop, peak_n)
    return Prediction(
        mass_kg=drop.mass_kg,
        height_m=drop.height_m,
        stiffness_n_per_m=model.stiffness_n_per_m,
        peak_force_n=peak_n,
        peak_low_n=band.peak_low_n,
        peak_high_n=band.peak_high_n,
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
            drop.mass_kg, drop.height_m, model.stiffness_n_per_m
        ),
    )


@dataclass(frozen=True)
class Band:
    """A predicted peak, with the lowest and highest peak to expect."""

    peak_force_n: float
    peak_low_n: float
    peak_high_n: float


def band_of(drop: PlannedDrop, peak_n: float, *, exact: str = "") -> Band:
    """The band around a predicted peak.

    Root sum of squares of the effect of each input's standard uncertainty on the closed form's
    peak, times 2. Bedding-in only makes a line stiffer and raises the upper end. Friction that
    is not known only makes the sled slower and lowers the lower end.

    Parameters
    ----------
    drop, peak_n : PlannedDrop, float
        The drop, and its predicted peak.
    exact : str
        One of `INPUTS` that is taken as known exactly; "" for none.
    """
    share = _closed_form_shares(drop)
    parts = peak_parts(drop)
    parts.pop(exact, None)
    u = math.sqrt(sum(part**2 for part in parts.values()))
    stiffer = slower = 1.0
    if exact != "bedding-in":
        stiffer = (1.0 + drop.line.may_stiffen) ** share["stiffness"]
    if drop.rails_n is None and exact != "friction":
        slower = 1.0 - share["height"] * FRICTION_MOST
    low_n = peak_n * (1.0 - K_FACTOR * u) * slower
    return Band(peak_n, max(low_n, drop.mass_kg * G), peak_n * (1.0 + K_FACTOR * u) * stiffer)


INPUTS = ("stiffness", "bedding-in", "friction", "height", "mass")


def peak_parts(drop: PlannedDrop) -> dict[str, float]:
    """Relative standard uncertainty of the peak from each input whose error has either sign."""
    share = _closed_form_shares(drop)
    trend = drop.line.trend
    # With the friction that explained earlier drops, its error is in their factor already.
    learned = trend is not None and (trend.friction_n or 0.0) == drop.rails_n
    told = 0.0 if learned or drop.rails_n is None else FRICTION_TOLD_U
    return {
        "stiffness": (
            trend.u(drop.energy_j)
            if trend is not None
            else share["stiffness"] * drop.line.stiffness_u_fraction
        ),
        "friction": share["height"] * told,
        "height": share["height"] * HEIGHT_U_M / max(drop.height_m, HEIGHT_U_M),
        "mass": share["mass"] * MASS_U_FRACTION,
    }


def _closed_form_shares(drop: PlannedDrop) -> dict[str, float]:
    """Relative change of the peak over the relative change of each input, by the closed form."""
    weight_n = drop.mass_kg * G
    ratio = 2.0 * drop.line.stiffness_n_per_m * drop.height_m / weight_n
    root = math.sqrt(1.0 + ratio)
    of_stiffness = 0.5 * ratio / (root * (1.0 + root))
    return {"stiffness": of_stiffness, "height": of_stiffness, "mass": 1.0 - of_stiffness}


def force_curve(drop: PlannedDrop, samples: int = 1200) -> tuple[FloatArray, FloatArray]:
    """Time since the line came taut, and force, of the first pull with some slack around it."""
    model = drop.model()
    motion = fall(model, duration_s=_span_s(model))
    truth = motion.truth()
    onset = truth.onset_time_s or 0.0
    length = truth.base_duration_s or (_span_s(model) - onset)
    time_s = np.linspace(-0.15 * length, 1.15 * length, samples)
    return time_s, drop.factor * motion.force_n(time_s + onset)
