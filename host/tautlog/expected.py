"""Expected: what a campaign's line promises of a drop, to lay the measured pull upon."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.campaign import Campaign
from tautlog.errors import PlanError
from tautlog.plan import Drop, Prediction, force_curve, predict_drop
from tautlog.trace import DropSetup

FloatArray = npt.NDArray[np.float64]
POINTS = 240


@dataclass(frozen=True)
class Expected:
    """A predicted pull.

    Attributes
    ----------
    prediction : Prediction
        Its figures.
    since_onset_s, low_n, high_n : ndarray of float64, shape (POINTS,)
        Time since the line came taut; the predicted force, its peak moved to the lower
        and to the upper end of its band.
    """

    prediction: Prediction
    since_onset_s: FloatArray
    low_n: FloatArray
    high_n: FloatArray

    @property
    def text(self) -> str:
        """The predicted peak and its band."""
        told = self.prediction
        return (
            f"predicted {told.peak_force_n:.0f} N ({told.peak_low_n:.0f} to "
            f"{told.peak_high_n:.0f} N)"
        )


def expected_of(campaign: Campaign | None, setup: DropSetup) -> Expected | None:
    """What was to be expected of a drop; None where mass, height or line are not known."""
    line = campaign.line(setup.line) if campaign else None
    if campaign is None or line is None or not setup.mass_kg or not setup.height_m:
        return None
    drop = Drop(setup.mass_kg, setup.height_m, line, campaign.rig.friction_n)
    try:
        told = predict_drop(drop)
        time_s, force_n = force_curve(drop, POINTS)
    except PlanError:
        return None
    low, high = (end / told.peak_force_n for end in (told.peak_low_n, told.peak_high_n))
    return Expected(told, time_s, low * force_n, high * force_n)
