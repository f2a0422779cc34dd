"""Expected: what a campaign predicts for a drop, to compare with the measured pull.

A drop is predicted once, from the line named in its set-up and from what was known before it.
The prediction is kept with its marks; every picture, list and report reads it there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tautlog.campaign.campaign import Campaign, read_campaign
from tautlog.errors import CampaignError, PlanError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.display_units import SI, Units
from tautlog.model.line import Line
from tautlog.model.predicted import Predicted
from tautlog.model.timestamp import stamp
from tautlog.model.trace import DropSetup
from tautlog.model.verdict_words import prediction_words
from tautlog.planning.lines import Lines
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import force_curve, predict_drop

FloatArray = npt.NDArray[np.float64]
POINTS = 240
SAME_DAY = timedelta(days=1)
LATER_DIFFERS = 0.005  # of the peak: a later prediction that differs less is the same


class CampaignExpectations:
    """Predictions from a campaign; its records are read once, on the first request.

    Parameters
    ----------
    campaign : Campaign
        Gives lines, records and friction.
    """

    def __init__(self, campaign: Campaign) -> None:
        self._campaign = campaign
        self._lines = Lines(campaign, most=None)

    def of(self, setup: DropSetup, before_utc: str = "") -> Predicted | None:
        """Predict a drop as `tautlog plan` did before it.

        Parameters
        ----------
        setup : DropSetup
            Gives mass, height and line.
        before_utc : str
            Time of the drop: later drops do not count. "" for what is known now.

        Returns
        -------
        Predicted or None
            None if mass, height or line are not known.
        """
        drop = self.drop(setup, before_utc)
        if drop is None:
            return None
        line = drop.line
        try:
            prediction = predict_drop(drop)
        except PlanError:
            return None
        return Predicted(
            peak_force_n=prediction.peak_force_n,
            peak_low_n=prediction.peak_low_n,
            peak_high_n=prediction.peak_high_n,
            mass_kg=drop.mass_kg,
            height_m=drop.height_m,
            line=line.name,
            stiffness_n_per_m=prediction.stiffness_n_per_m,
            hardening_per_m2=line.hardening_per_m2,
            damping_ratio=line.damping_ratio,
            friction_n=drop.rails_n,
            source=line.source,
            reckoned_utc=stamp(),
            on_the_day=_within_a_day(before_utc),
        )

    def drop(self, setup: DropSetup, before_utc: str = "") -> PlannedDrop | None:
        """The drop to predict, as in `of`; None if mass, height or line are not known."""
        if not setup.line or not setup.mass_kg or not setup.height_m:
            return None
        line = self._lines.line(setup.line, before_utc=before_utc)
        if line is None:
            return None
        return PlannedDrop(setup.mass_kg, setup.height_m, line, self._campaign.rig.friction_n)


def _within_a_day(utc: str) -> bool:
    """Whether a time is within a day of now, so that we know now what was known then."""
    try:
        time = datetime.fromisoformat(utc)
    except ValueError:
        return False
    if time.tzinfo is None:
        time = time.replace(tzinfo=UTC)
    return abs(datetime.now(UTC) - time) <= SAME_DAY


def expectations_at(record_path: Path) -> CampaignExpectations | None:
    """Expectations of the campaign in a record's folder; None if it cannot be read."""
    if not (record_path.parent / CAMPAIGN_FILE).is_file():
        return None
    try:
        return CampaignExpectations(read_campaign(record_path.parent, to_drop=False))
    except CampaignError:
        return None


@dataclass(frozen=True)
class Expected:
    """A predicted pull, to draw.

    Attributes
    ----------
    text : str
        The predicted peak and its band.
    since_onset_s, low_n, high_n : ndarray of float64, shape (POINTS,)
        Time since the line came taut; the predicted force, scaled so that its peak lies at the
        lower and at the upper end of the band.
    """

    text: str
    since_onset_s: FloatArray
    low_n: FloatArray
    high_n: FloatArray


def expected_from(predicted: Predicted | None, units: Units = SI) -> Expected | None:
    """The pull of a prediction that is kept with a record's marks."""
    if predicted is None:
        return None
    line = Line(
        predicted.line,
        predicted.stiffness_n_per_m,
        predicted.hardening_per_m2,
        predicted.damping_ratio,
    )
    drop = PlannedDrop(predicted.mass_kg, predicted.height_m, line, predicted.friction_n)
    try:
        time_s, force_n = force_curve(drop, POINTS)
    except PlanError:
        return None
    low, high = (
        end / predicted.peak_force_n for end in (predicted.peak_low_n, predicted.peak_high_n)
    )
    return Expected(prediction_words(predicted, units=units), time_s, low * force_n, high * force_n)
