"""First peak: the first peak force of a rig, and the rig that gives a wanted peak."""

from __future__ import annotations

import math
from dataclasses import replace

from scipy.optimize import brentq

from tautlog.mechanics import closed_forms as predict
from tautlog.mechanics.contact import contacts, free_fall
from tautlog.mechanics.motion_truth import FIRST_GRID_S, peak_of
from tautlog.mechanics.rig_model import RigModel


def first_peak_n(model: RigModel) -> float:
    """Peak force of the first contact.

    Raises
    ------
    ValueError
        If the line never comes taut.
    """
    if model.never_taut:
        raise ValueError("`model` must let the line come taut, but its catch comes first")
    onset_s, _ = free_fall(model, model.height_m)
    period_s = 2.0 * math.pi * math.sqrt(model.mass_kg / model.stiffness_n_per_m)
    contact = contacts(model, onset_s + period_s)[0]
    return peak_of(contact, FIRST_GRID_S)[1]


def model_for_peak(model: RigModel, peak_n: float) -> RigModel:
    """The same rig with the stiffness that gives a wanted first peak, losses included.

    Parameters
    ----------
    model : RigModel
        Everything but the stiffness is kept.
    peak_n : float
        Wanted peak of the first contact; above 2 m g.

    Raises
    ------
    ValueError
        If no stiffness gives that peak.
    """
    guess = predict.stiffness_for_peak_n_per_m(model.mass_kg, model.height_m, peak_n)
    # Break and slip, which the model may have, are left out here.
    whole = replace(model, break_force_n=None, slip=None)

    def miss(log_factor: float) -> float:
        return first_peak_n(replace(whole, stiffness_n_per_m=guess * math.exp(log_factor))) - peak_n

    try:
        log_factor = brentq(miss, -2.0, 2.0, xtol=1e-9)
    except ValueError as error:
        raise ValueError(f"`peak_n` {peak_n:g} is out of reach of any line on this rig") from error
    return replace(model, stiffness_n_per_m=guess * math.exp(log_factor))
