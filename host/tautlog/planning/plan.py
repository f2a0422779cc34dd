"""Plan: the drop that is asked for, what it will do, what is aimed at, and what was checked.

What was not asked for is taken from the campaign; what is still not known is solved for, so
that the target is proven with the uncertainty of the calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import mount_name
from tautlog.errors import PlanError
from tautlog.model.calibration import Calibration
from tautlog.model.line import Line
from tautlog.model.load_path import PathCheck
from tautlog.model.names import meant
from tautlog.model.trace import DropSetup
from tautlog.model.uncertainty import extrapolation_u
from tautlog.planning.aim import Aim, aim_for
from tautlog.planning.electronics_advice import advise
from tautlog.planning.flight import FlightLoad
from tautlog.planning.gate import findings
from tautlog.planning.intended import electrics_of, intended_for
from tautlog.planning.ladder import LADDER, Step, ladder
from tautlog.planning.missed import Missed, missed
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import Prediction, predict_drop
from tautlog.planning.solving import solve_height, solve_mass, solve_stiffness
from tautlog.planning.wanted import Wanted
from tautlog.planning.wanted_line import wanted_line

_SOLVERS = {"mass": solve_mass, "height": solve_height, "stiffness": solve_stiffness}
NOTHING_WANTED = Wanted()


@dataclass(frozen=True)
class Plan:
    """A drop that is planned.

    Attributes
    ----------
    drop : PlannedDrop
        What falls, from how high, on which line.
    prediction : Prediction
        Its peak with a band, durations, stretch, energy.
    target_n, limit_n : float or None
        What is to be reached, and not to be passed; None where nobody said.
    aim : Aim or None
        What to aim at so that the target is proven; None without one.
    missed : Missed or None
        By how much the prediction misses what can be proven; None where it does not.
    solved : str
        What was found so that the aim is met: one of `wanted.SOLVABLE`, or "".
    length_m : float or None
        Length of the line, where that was found.
    findings : tuple of PathCheck
        What the gate finds of mount, rig, catch and load path; none without a campaign.
    electronics : tuple of PathCheck
        Advice for cell, amplifier, rate and class.
    flight : FlightLoad or None
        Whose load the target is.
    factor : float
        On that load.
    """

    drop: PlannedDrop
    prediction: Prediction
    target_n: float | None
    limit_n: float | None
    aim: Aim | None
    missed: Missed | None
    solved: str
    length_m: float | None
    findings: tuple[PathCheck, ...]
    electronics: tuple[PathCheck, ...]
    flight: FlightLoad | None
    factor: float

    @property
    def checks(self) -> tuple[PathCheck, ...]:
        """All that was checked."""
        return self.findings + self.electronics

    def ladder(self, shares: tuple[float, ...] = LADDER) -> tuple[Step, ...]:
        """The drops that lead up to the aim, or to the predicted peak without a target.

        Raises
        ------
        PlanError
            If a share is none, or cannot be reached by height alone.
        """
        top_n = self.aim.force_n if self.aim else self.prediction.peak_force_n
        return tuple(ladder(self.drop, top_n, shares))


def plan(campaign: Campaign | None = None, wanted: Wanted = NOTHING_WANTED) -> Plan:
    """Work out a plan.

    Parameters
    ----------
    campaign : Campaign or None
        Tells what was not asked for; without one rig, mount and load path are not checked.
    wanted : Wanted
        What goes before the campaign's own set-up.

    Raises
    ------
    PlanError, CampaignError
        With what lacks or contradicts, and how to mend it.
    """
    _require_names(campaign, wanted)
    setup = campaign.setup if campaign else DropSetup()
    factor = wanted.factor or _required_factor(campaign)
    wanted_n = factor * wanted.flight.force_n if wanted.flight else wanted.target_n
    target_n = wanted_n or setup.target_n
    limit_n = wanted.limit_n or (None if wanted_n else setup.limit_n)
    aim = None if target_n is None else aim_for(target_n, limit_n, _u_fraction(campaign, target_n))
    mass_kg = wanted.mass_kg or (None if wanted.solve == "mass" else setup.mass_kg)
    height_m = wanted.height_m
    if height_m is None and wanted.solve != "height" and not (wanted.mass_kg and wanted_n):
        height_m = setup.height_m
    drop, solved = _solved(campaign, wanted, mass_kg, height_m, aim)
    prediction = predict_drop(drop)
    return Plan(
        drop=drop,
        prediction=prediction,
        target_n=target_n,
        limit_n=limit_n,
        aim=aim,
        missed=missed(drop, prediction.peak_force_n, aim, target_n) if aim and target_n else None,
        solved=solved,
        length_m=_length_m(wanted, drop),
        findings=_findings(campaign, wanted, drop, target_n),
        electronics=tuple(
            advise(electrics_of(campaign), prediction.peak_high_n, prediction.pulse_s)
        ),
        flight=wanted.flight,
        factor=factor,
    )


def _require_names(campaign: Campaign | None, wanted: Wanted) -> None:
    """A name that the campaign does not know would plan something else than is meant."""
    if campaign is None:
        return
    for kind, name, known in (
        ("article", wanted.article, campaign.articles),
        ("mount", wanted.mount, campaign.mounts),
    ):
        names = tuple(thing.name for thing in known)
        if name and names and name not in names:
            raise PlanError(f"{kind} {name!r} is none of the campaign's; {meant(name, names)}")


def _required_factor(campaign: Campaign | None) -> float:
    """Design times test factor that the campaign requires, on a load in flight."""
    requirement = campaign.requirement if campaign else None
    return requirement.design_factor * requirement.test_factor if requirement else 1.0


def _u_fraction(campaign: Campaign | None, target_n: float) -> float:
    """Expanded relative uncertainty of a peak, from the calibration and what lies beyond it."""
    calibration = campaign.calibration if campaign else Calibration()
    beyond = extrapolation_u(target_n, calibration.range_n) / target_n
    return math.hypot(calibration.expanded_u_at_n(target_n) / target_n, 2.0 * beyond)


def _solved(
    campaign: Campaign | None,
    wanted: Wanted,
    mass_kg: float | None,
    height_m: float | None,
    aim: Aim | None,
) -> tuple[PlannedDrop, str]:
    """Fill in the one thing that is not known, and say which it was."""
    line = None if wanted.solve in ("stiffness", "length") else wanted_line(campaign, wanted)
    known = {"mass": mass_kg, "height": height_m, "stiffness": line}
    unknown = [name for name, value in known.items() if value is None]
    if len(unknown) > 1 or (unknown and aim is None):
        lacking = ", ".join(f"--{name}" for name in unknown)
        more = "" if aim else "; with --target one of them is found"
        raise PlanError(f"not known: {lacking}. Give all but one of them{more}")
    drop = PlannedDrop(
        mass_kg or 1.0,
        1.0 if height_m is None else height_m,
        line or Line("line", 1.0, wanted.hardening_per_m2 or 0.0, wanted.damping_ratio or 0.0),
        _friction_n(campaign, wanted),
    )
    if not unknown or aim is None:
        return drop, ""
    solved = _SOLVERS[unknown[0]](drop, aim.force_n)
    return solved, wanted.solve if wanted.solve == "length" else unknown[0]


def _friction_n(campaign: Campaign | None, wanted: Wanted) -> float | None:
    """Friction of the rails, as asked for or as the campaign states it."""
    if wanted.friction_n is not None or campaign is None:
        return wanted.friction_n
    return campaign.rig.friction_n


def _length_m(wanted: Wanted, drop: PlannedDrop) -> float | None:
    """Length of a line of known EA that has the stiffness which was found."""
    if wanted.solve != "length" or not wanted.modulus_n:
        return None
    return wanted.modulus_n / drop.line.stiffness_n_per_m


def _findings(
    campaign: Campaign | None, wanted: Wanted, drop: PlannedDrop, target_n: float | None
) -> tuple[PathCheck, ...]:
    """What the gate finds of this drop."""
    if campaign is None:
        return ()
    setup = replace(
        campaign.setup,
        mass_kg=drop.mass_kg,
        height_m=drop.height_m,
        target_n=target_n,
        line=drop.line.name,
        article=wanted.article or campaign.setup.article,
        mount=mount_name(campaign, wanted.mount),
    )
    return findings(intended_for(campaign, setup, drop.line, drop.friction_n))
