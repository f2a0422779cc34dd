"""Plan: the wanted drop, its prediction, its aim and its checks.

Values that were not given come from the campaign. One value that is still unknown is solved for,
so that the target is proven within the uncertainty of the calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautlog.campaign.bring_ups import real_proving_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import mount_name
from tautlog.errors import PlanError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import MOST_CHANNELS
from tautlog.model.display_units import SI, Units
from tautlog.model.flight import FlightLoad
from tautlog.model.limits import upper_of
from tautlog.model.line import Line
from tautlog.model.load_path import PathCheck
from tautlog.model.names import meant
from tautlog.model.trace import DropSetup
from tautlog.model.uncertainty import extrapolation_u
from tautlog.model.window import Sampling, guarded_window
from tautlog.planning.aim import Aim, aim_for
from tautlog.planning.electronics_advice import advise
from tautlog.planning.gate import findings
from tautlog.planning.intended import electrics_of, intended_for
from tautlog.planning.ladder import LADDER, Step, ladder
from tautlog.planning.missed import Missed, missed
from tautlog.planning.odds import Odds, odds_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import Prediction, predict_drop
from tautlog.planning.solving import solve_height, solve_mass, solve_stiffness
from tautlog.planning.wanted import Wanted
from tautlog.planning.wanted_line import wanted_line

_SOLVERS = {"mass": solve_mass, "height": solve_height, "stiffness": solve_stiffness}
NOTHING_WANTED = Wanted()


@dataclass(frozen=True)
class Plan:
    """A planned drop.

    Attributes
    ----------
    drop : PlannedDrop
        What falls, from which height, on which line.
    prediction : Prediction
        Its peak with a band, durations, stretch and energy.
    target_n, limit_n : float or None
        Force to reach and force not to exceed; None if not stated.
    aim : Aim or None
        Aim that proves the target; None without a target.
    missed : Missed or None
        By how much the prediction misses what can be proven; None if it does not.
    solved : str
        Value that was solved for so that the drop meets the aim: one of `wanted.SOLVABLE`, or "".
    length_m : float or None
        Length of the line, if it was solved for.
    findings : tuple of PathCheck
        Checks of the gate on mount, rig, catch and load path; empty without a campaign.
    electronics : tuple of PathCheck
        Advice for cell, amplifier, rate and class.
    flight : FlightLoad or None
        The flight load that gives the target.
    factor : float
        Factor on that load.
    units : Units
        Units in which it is shown.
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
    units: Units = SI

    @property
    def checks(self) -> tuple[PathCheck, ...]:
        """All that was checked."""
        return self.findings + self.electronics

    @property
    def upper_n(self) -> float | None:
        """The limit force, or 1.1 x target without one, or None."""
        return upper_of(self.target_n, self.limit_n)

    def ladder(self, shares: tuple[float, ...] = LADDER) -> tuple[Step, ...]:
        """The drops that lead up to the aim; without a target, to the predicted peak.

        Raises
        ------
        PlanError
            If a share is out of range, or cannot be reached by height alone.
        """
        top_n = self.aim.force_n if self.aim else self.prediction.peak_force_n
        return tuple(ladder(self.drop, top_n, shares))

    def odds(self) -> Odds | None:
        """The height that makes a proof most likely; None without a target.

        Raises
        ------
        PlanError
            If no height reaches the aim.
        """
        if self.aim is None or self.target_n is None or self.upper_n is None:
            return None
        return odds_of(self.drop, self.target_n, self.upper_n, self.aim)


def plan(
    campaign: Campaign | None = None, wanted: Wanted = NOTHING_WANTED, units: Units | None = None
) -> Plan:
    """Make a plan.

    Parameters
    ----------
    campaign : Campaign or None
        Gives the values that are not wanted otherwise; without a campaign, rig, mount and load
        path are not checked.
    wanted : Wanted
        Overrides the campaign's set-up.
    units : Units, optional
        Units in which the plan is said (default: the campaign's).

    Raises
    ------
    PlanError, CampaignError
        Says what is missing or contradictory, and how to correct it.
    """
    _require_names(campaign, wanted)
    units = units or (campaign.units if campaign else SI)
    setup = campaign.setup if campaign else DropSetup()
    factor = wanted.factor or _required_factor(campaign)
    wanted_n = factor * wanted.flight.force_n if wanted.flight else wanted.target_n
    target_n = wanted_n or setup.target_n
    limit_n = wanted.limit_n or (None if wanted_n else setup.limit_n)
    aim = _aim(campaign, target_n, limit_n, units)
    mass_kg = wanted.mass_kg or (None if wanted.solve == "mass" else setup.mass_kg)
    height_m = _height_m(wanted, setup, wanted_n)
    drop, solved = _solved(campaign, wanted, (mass_kg, height_m), aim, units)
    prediction = predict_drop(drop)
    return Plan(
        drop=drop,
        prediction=prediction,
        target_n=target_n,
        limit_n=limit_n,
        aim=aim,
        missed=_missed(drop, prediction, aim, target_n, units),
        solved=solved,
        length_m=_length_m(wanted, drop),
        findings=_findings(campaign, wanted, drop, target_n, units),
        electronics=(
            *advise(electrics_of(campaign), prediction.peak_high_n, prediction.pulse_s, units),
            _window(campaign, prediction),
        ),
        flight=wanted.flight,
        factor=factor,
        units=units,
    )


def _height_m(wanted: Wanted, setup: DropSetup, wanted_n: float | None) -> float | None:
    """The height as wanted, or the campaign's; None if it is to be found."""
    if wanted.height_m is not None or wanted.solve == "height" or (wanted.mass_kg and wanted_n):
        return wanted.height_m
    return setup.height_m


def _aim(
    campaign: Campaign | None, target_n: float | None, limit_n: float | None, units: Units
) -> Aim | None:
    """The aim that proves the target; None without one."""
    if target_n is None:
        return None
    return aim_for(target_n, limit_n, _u_fraction(campaign, target_n), units)


def _missed(
    drop: PlannedDrop,
    prediction: Prediction,
    aim: Aim | None,
    target_n: float | None,
    units: Units,
) -> Missed | None:
    if aim is None or target_n is None:
        return None
    return missed(drop, prediction.peak_force_n, aim, target_n, units)


def _window(campaign: Campaign | None, prediction: Prediction) -> PathCheck:
    """Whether the board's memory holds fall and contact if the cable fails."""
    sampling = campaign.sampling if campaign else Sampling()
    if sampling.channels > MOST_CHANNELS:
        text = (
            f"channels: campaign.toml states {sampling.channels}, the board's converter has "
            f"{MOST_CHANNELS} inputs"
        )
        return PathCheck("guarded-window", False, text)
    window = guarded_window(sampling.board())
    holds, text = window.check(prediction.fall_time_s, prediction.pulse_s)
    return PathCheck("guarded-window", holds, f"{text}; about, on {sampling.chip}")


def _require_names(campaign: Campaign | None, wanted: Wanted) -> None:
    """Refuse names that the campaign does not have: the plan would be for something else."""
    if campaign is None:
        return
    for kind, name, known in (
        ("article", wanted.article, campaign.articles),
        ("mount", wanted.mount, campaign.mounts),
    ):
        names = tuple(thing.name for thing in known)
        if name and names and name not in names:
            raise PlanError(f"{kind} {name!r} is not in campaign.toml; {meant(name, names)}")


def _required_factor(campaign: Campaign | None) -> float:
    """Design factor times test factor on a flight load, as the campaign states them."""
    requirement = campaign.requirement if campaign else None
    return requirement.design_factor * requirement.test_factor if requirement else 1.0


def _u_fraction(campaign: Campaign | None, target_n: float) -> float:
    """Expanded relative uncertainty of a peak, from calibration and extrapolation."""
    calibration = campaign.calibration if campaign else Calibration()
    beyond = extrapolation_u(target_n, calibration.range_n) / target_n
    return math.hypot(calibration.expanded_u_at_n(target_n) / target_n, 2.0 * beyond)


def _solved(
    campaign: Campaign | None,
    wanted: Wanted,
    given: tuple[float | None, float | None],
    aim: Aim | None,
    units: Units,
) -> tuple[PlannedDrop, str]:
    """Solve for the one unknown value, of mass and height as given or the line; say which."""
    mass_kg, height_m = given
    line = None if wanted.solve in ("stiffness", "length") else wanted_line(campaign, wanted)
    known = {"mass": mass_kg, "height": height_m, "stiffness": line}
    unknown = [name for name, value in known.items() if value is None]
    if len(unknown) > 1 or (unknown and aim is None):
        missing = ", ".join(f"--{name}" for name in unknown)
        mend = "Give all but one of them" if aim else "Give them all, or all but one and --target"
        raise PlanError(f"not known: {missing}. {mend}")
    drop = PlannedDrop(
        mass_kg or 1.0,
        1.0 if height_m is None else height_m,
        line or Line("line", 1.0, wanted.hardening_per_m2 or 0.0, wanted.damping_ratio or 0.0),
        _friction_n(campaign, wanted),
    )
    if not unknown or aim is None:
        return drop, ""
    solved = _SOLVERS[unknown[0]](drop, aim.force_n, units)
    return solved, wanted.solve if wanted.solve == "length" else unknown[0]


def _friction_n(campaign: Campaign | None, wanted: Wanted) -> float | None:
    """Friction of the rails, as wanted or as the campaign states it."""
    if wanted.friction_n is not None or campaign is None:
        return wanted.friction_n
    return campaign.rig.friction_n


def _length_m(wanted: Wanted, drop: PlannedDrop) -> float | None:
    """Length of a line of known EA that gives the solved stiffness."""
    if wanted.solve != "length" or not wanted.modulus_n:
        return None
    return wanted.modulus_n / drop.line.stiffness_n_per_m


def _findings(
    campaign: Campaign | None,
    wanted: Wanted,
    drop: PlannedDrop,
    target_n: float | None,
    units: Units,
) -> tuple[PathCheck, ...]:
    """Checks of the gate on this drop."""
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
    intended = intended_for(campaign, setup, drop.line, drop.friction_n, units=units)
    # No board has greeted: what was tried on a simulated one proves no wire of a real rig.
    return findings(replace(intended, proving=real_proving_of(campaign)))
