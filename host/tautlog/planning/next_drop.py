"""Next drop: prediction of the drop that follows the learned drops."""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.model.trace import DropSetup
from tautlog.planning.expected import CampaignExpectations
from tautlog.planning.learning import Learned
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import Prediction, predict_drop


def next_drop(
    learned: Learned,
    campaign: Campaign | None,
    *,
    mass_kg: float | None = None,
    height_m: float | None = None,
    as_planned: bool = True,
) -> Prediction:
    """Predict the next drop of a learned line.

    Parameters
    ----------
    learned : Learned
        The line.
    campaign : Campaign or None
        Gives mass and height if they are not given; without a campaign the last drop does.
    mass_kg, height_m : float or None
        Mass and height of the next drop.
    as_planned : bool
        Predict as plan and gate do, with all that the campaign knows of the line; False: with
        what was learned alone.
    """
    last = learned.lessons[-1]
    setup = campaign.setup if campaign else DropSetup()
    mass = mass_kg or setup.mass_kg or last.mass_kg
    height = height_m or setup.height_m or last.height_m
    asked = DropSetup(mass_kg=mass, height_m=height, line=learned.line.name)
    drop = CampaignExpectations(campaign).drop(asked) if campaign and as_planned else None
    return predict_drop(drop or PlannedDrop(mass, height, learned.line, learned.friction_n))
