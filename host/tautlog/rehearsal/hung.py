"""Hung: the sled or weights that hang on the cells of a rehearsed rig, until they are still.

A hand lets a mass go that the line carries nine tenths of: the own choice of this rehearsal. The
mass then swings up and down on line and damper, whose closed form is that of any textbook of
vibrations (S. S. Rao, Mechanical Vibrations, section 2.6, free vibration with viscous damping).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from scipy.optimize import brentq

from tautlog.mechanics.legs import LeggedModel
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.channels import FORCE, role_of
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.rehearsal.electronics import FloatArray, ForceSource, no_force
from tautlog.rehearsal.scene import Scene
from tautlog.rehearsal.sources import Still

EASED = 0.1  # part of the weight that a hand lets go of
MOST_DAMPING_RATIO = 0.99  # a light weight on a stiff damper creeps; it is still soon enough


class Hung:
    """Masses that hang on the cells; see `sources.Sources`.

    Parameters
    ----------
    scene : Scene
        The scene.
    masses_kg : dict of str to float
        What hangs on each force channel, by its name.
    start_s : float
        Seconds since power-up at which a hand let them go.
    """

    def __init__(self, scene: Scene, masses_kg: Mapping[str, float], start_s: float) -> None:
        self._scene = scene
        self._masses_kg = dict(masses_kg)
        self._start_s = start_s

    def source(self, name: str) -> ForceSource:
        """See `sources.Sources`."""
        if name != self._scene.first and role_of(name) != FORCE:
            return Still(self._scene).source(name)
        mass_kg = self._masses_kg.get(name, 0.0)
        if not mass_kg:
            return no_force
        return lambda time_s: settling_n(self._scene.model, mass_kg, time_s - self._start_s)


def settling_n(model: RigModel, mass_kg: float, time_s: FloatArray) -> FloatArray:
    """Force of a line on a mass that is let go, in newtons.

    Parameters
    ----------
    model : RigModel
        Its stiffness and damper.
    mass_kg : float
        What hangs; greater than 0.
    time_s : ndarray of float64
        Seconds since a hand let it go; any shape. Below 0 a hand carries it still.

    Notes
    -----
    With y the stretch beyond that at rest and y(0) = y0, y'(0) = 0:
    y = y0 exp(-z w t) (cos d t + z w / d sin d t) and y' = -y0 exp(-z w t) w**2 / d sin d t, where
    w**2 = k / m, z = c / (2 m w) and d = w sqrt(1 - z**2). The line pulls m g + k y + c y'.
    """
    weight_n = mass_kg * STANDARD_GRAVITY_M_PER_S2
    omega = math.sqrt(model.stiffness_n_per_m / mass_kg)
    ratio = min(model.damping_ns_per_m / (2.0 * mass_kg * omega), MOST_DAMPING_RATIO)
    damped = omega * math.sqrt(1.0 - ratio * ratio)
    since_s = np.maximum(time_s, 0.0)
    left = EASED * weight_n * np.exp(-ratio * omega * since_s)
    # k y + c y' with k y0 = -EASED m g and c = 2 z w m.
    swing_n = np.cos(damped * since_s) - ratio * omega / damped * np.sin(damped * since_s)
    return np.asarray(weight_n - left * swing_n, np.float64)


def shares_kg(scene: Scene) -> dict[str, float]:
    """Which part of the hanging sled each cell carries, in kilograms."""
    model = scene.model
    if not isinstance(model, LeggedModel):
        return {scene.first: model.mass_kg}
    longest_m = max(leg.longer_m for leg in model.legs)
    most_m = longest_m + model.weight_n / (min(leg.share for leg in model.legs) or 1.0) / (
        model.stiffness_n_per_m
    )
    stretch_m = float(brentq(lambda e: model.elastic_n(e) - model.weight_n, 0.0, most_m))
    return {
        leg.name: float(model.leg_n(leg, stretch_m)) / STANDARD_GRAVITY_M_PER_S2
        for leg in model.legs
    }
