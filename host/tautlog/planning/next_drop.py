"""Next drop: what the drop after those that were learned from will do."""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.model.trace import DropSetup
from tautlog.planning.expected import Expectations
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
    """Predict the next drop of a line that was learned.

    Parameters
    ----------
    learned : Learned
        The line.
    campaign : Campaign or None
        Whose set-up it is, where mass and height are not given; else those of the last drop.
    mass_kg, height_m : float or None
        Of that drop.
    as_planned : bool
        Reckon as plan and gate do, with all that the campaign knows of the line; not with
        what was learned alone.
    """
    last = learned.lessons[-1]
    setup = campaign.setup if campaign else DropSetup()
    mass = mass_kg or setup.mass_kg or last.mass_kg
    height = height_m or setup.height_m or last.height_m
    asked = DropSetup(mass_kg=mass, height_m=height, line=learned.line.name)
    drop = Expectations(campaign).drop(asked) if campaign and as_planned else None
    return predict_drop(drop or PlannedDrop(mass, height, learned.line, learned.friction_n))
