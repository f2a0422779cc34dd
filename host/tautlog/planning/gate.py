"""Gate: why an intended drop must not be done.

One pure function on one object, for `drop`, `plan`, `check` and scripts alike. It uses the
highest of prediction, target and earlier measurements of this drop (`reckoned`), and refuses
what it cannot predict. It can only withhold: key, catch and the people at the rig decide.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from tautlog.calibrate.plausibility import accepted_by, slope_doubts, uncertainty_doubts
from tautlog.calibrate.validity import validity
from tautlog.campaign.sections import RigLimits
from tautlog.errors import PlanError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.display_units import SI, Units
from tautlog.model.leg_facts import LegFacts
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount, PathCheck, check_mount, check_path
from tautlog.model.names import meant
from tautlog.model.proven_wiring import Proving, unproven
from tautlog.model.shown import shown, shown_force
from tautlog.model.timestamp import today
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.planning.electronics_advice import Electrics
from tautlog.planning.leg_loads import leg_checks, leg_force_n
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import Prediction, predict_drop
from tautlog.planning.reckoned import Load, highest


@dataclass(frozen=True)
class Intended:
    """An intended drop, and the limits of all that it will load.

    Attributes
    ----------
    mass_kg, height_m : float or None
        Mass of all that moves; free travel. None if not stated.
    line : Line or None
        The line, with hardening and damping; None if its stiffness is not known.
    friction_n : float or None
        Friction of the rails; None is taken as 0.
    line_name, article, mount_name : str
        Names for this drop; "" if not named.
    mount : Mount or None
        The mount of that name; None if the campaign does not have it.
    drops_since_proof : int or None
        Drops that this mount has seen since its proof.
    rig : RigLimits
        Limits of the rig.
    elements : tuple of Element
        The load path.
    electrics : Electrics
        Cell and amplifier by their data sheets.
    calibration : Calibration
        The calibration of the forces.
    calibration_doubts : tuple of str
        Why it must not be used.
    promised_newton_per_volt, not_promised : float or None, tuple of str
        Slope by data sheet and gain; what is missing for that.
    target_n, upper_n : float or None
        Target of the test, and the force above which it is an overload.
    earlier : tuple of Load
        Earlier measurements on the line; see `reckoned`.
    condemned : tuple of str
        Why line or article must no longer be dropped.
    day : str
        Day of the drop.
    lines, articles, mounts : tuple of str
        Names that the campaign has.
    proof_factor, mount_over_article : float
        Factors of the campaign.
    end_state : str
        "hangs" or "rests".
    legs : tuple of Channel
        The force channels beyond the first, with their calibrations.
    leg_facts : tuple of LegFacts
        What is stated of each leg: angles and limits of its own.
    channel : str
        Name of the first force channel.
    proving : Proving
        What is known of the board's wiring.
    departures : tuple of str
        Where air, line and article are not as the campaign agreed.
    units : Units
        Units in which the checks are said; SI for all that is kept.
    not_kept : tuple of str
        What speaks for the drop, but is not as this campaign's chain had it.
    """

    mass_kg: float | None
    height_m: float | None
    line: Line | None
    friction_n: float | None = None
    line_name: str = ""
    article: str = ""
    mount_name: str = ""
    mount: Mount | None = None
    drops_since_proof: int | None = None
    rig: RigLimits = field(default_factory=RigLimits)
    elements: tuple[Element, ...] = ()
    electrics: Electrics = field(default_factory=Electrics)
    calibration: Calibration = field(default_factory=Calibration)
    calibration_doubts: tuple[str, ...] = ()
    promised_newton_per_volt: float | None = None
    not_promised: tuple[str, ...] = ()
    target_n: float | None = None
    earlier: tuple[Load, ...] = ()
    condemned: tuple[str, ...] = ()
    day: str = field(default_factory=today)
    lines: tuple[str, ...] = ()
    articles: tuple[str, ...] = ()
    mounts: tuple[str, ...] = ()
    proof_factor: float = 1.25
    mount_over_article: float = 1.5
    end_state: str = "hangs"
    legs: tuple[Channel, ...] = ()
    proving: Proving = field(default_factory=Proving)
    departures: tuple[str, ...] = ()
    units: Units = SI
    leg_facts: tuple[LegFacts, ...] = ()
    channel: str = "force"
    upper_n: float | None = None
    not_kept: tuple[str, ...] = ()

    @cached_property
    def predicted(self) -> tuple[Prediction | None, str]:
        """What the drop will do, reckoned once for all checks; or None, and why not."""
        return _predicted(self)


def refusals(intended: Intended) -> tuple[PathCheck, ...]:
    """Every reason why the drop is refused; empty if nothing forbids it."""
    return tuple(check for check in findings(intended) if check.refuses)


def findings(intended: Intended) -> tuple[PathCheck, ...]:
    """All checks: what holds, what is not known, and what refuses the drop."""
    predicted, why = intended.predicted
    load = highest(predicted, intended.target_n, intended.earlier)
    found = [
        *_named(intended),
        *_as_kept(intended),
        *_calibration(intended, load),
        *_legs(intended),
    ]
    if predicted is None:
        found.append(PathCheck("peak-unknown", False, why, refuses=True))
    found += _on_mount(intended, load)
    found += _on_rig(intended, predicted)
    found.append(wiring_check(intended.proving))
    found += surroundings_checks(intended)
    if load is not None:
        found.append(
            PathCheck("reckoned", True, f"checked against {_in_words(load, intended.units)}")
        )
        found += _on_chain(intended, load)
        path = check_path(
            intended.elements,
            load.force_n,
            mount_over_article=intended.mount_over_article,
            units=intended.units,
        )
        found += [_with_basis(check, load) for check in path]
        names = (intended.channel, *(leg.name for leg in intended.legs))
        found += leg_checks(intended.leg_facts, names, load.force_n, load.basis, intended.units)
    return tuple(found)


def surroundings_checks(intended: Intended) -> list[PathCheck]:
    """Where air, line and article are not as agreed: to look at, and no refusal."""
    about = "the drop will count for no statement about the part"
    return [
        PathCheck("surroundings", False, f"surroundings: {text}; {about}")
        for text in intended.departures
    ]


def aim_checks(intended: Intended) -> list[PathCheck]:
    """A drop that is predicted above its limit: to look at, and no refusal."""
    predicted, _ = intended.predicted
    upper_n = intended.upper_n
    if predicted is None or upper_n is None or predicted.peak_force_n <= upper_n:
        return []
    peak = shown_force(predicted.peak_force_n, None, (upper_n,), intended.units)
    text = f"aim: {peak.text} is predicted, and the limit is {peak.level()}: expect an overload"
    return [PathCheck("beyond-limit", False, text)]


def wiring_check(proving: Proving) -> PathCheck:
    """Whether every wire was tried by hand, see `proven_wiring`."""
    why = unproven(proving)
    if why:
        return PathCheck("wiring-unproven", False, f"wiring: {why}", refuses=True)
    of = "of this board" if proving.board else "of a board; which one is seen when it greets"
    return PathCheck("wiring", True, f"wiring: brought up, each wire {of}")


def _in_words(load: Load, units: Units) -> str:
    return f"{units.text(load.force_n, 'N')}, {load.basis}"


def _with_basis(check: PathCheck, load: Load) -> PathCheck:
    """A check; a refusal with the source of the deciding force."""
    return replace(check, text=f"{check.text} ({load.basis})") if check.refuses else check


def _predicted(intended: Intended) -> tuple[Prediction | None, str]:
    """The prediction, or why there is none."""
    named = f"line {intended.line_name!r}" if intended.line_name else "no line is named"
    missing = [
        text
        for value, text in (
            (intended.mass_kg, "the mass is not known (give --mass)"),
            (intended.height_m, "the height is not known (give --height)"),
        )
        if value is None
    ]
    if intended.line is None:
        known = "" if intended.line_name in intended.lines else _which(intended)
        missing.append(
            f"{named}: its stiffness is not known{known}" if intended.line_name else named
        )
    if missing or intended.mass_kg is None or intended.height_m is None or intended.line is None:
        return None, "the peak cannot be predicted: " + "; ".join(missing)
    drop = PlannedDrop(intended.mass_kg, intended.height_m, intended.line, intended.friction_n)
    try:
        return predict_drop(drop), ""
    except PlanError as problem:
        return None, f"the peak cannot be predicted: {problem}"


def _which(intended: Intended) -> str:
    return f", it is not in campaign.toml; {meant(intended.line_name, intended.lines)}"


def _named(intended: Intended) -> list[PathCheck]:
    """Article and mount must be known and must not be condemned."""
    found = []
    if intended.article and intended.articles and intended.article not in intended.articles:
        found.append(
            PathCheck(
                "article-unknown",
                False,
                f"article {intended.article!r} is not in campaign.toml; "
                f"{meant(intended.article, intended.articles)}",
                refuses=True,
            )
        )
    if not intended.mount_name and len(intended.mounts) > 1:
        names = ", ".join(intended.mounts)
        found.append(
            PathCheck(
                "mount-unnamed",
                False,
                f"the campaign has several mounts: name the mount with --mount ({names})",
                refuses=True,
                final=True,
            )
        )
    found += [PathCheck("condemned", False, why, refuses=True) for why in intended.condemned]
    return found


def _as_kept(intended: Intended) -> list[PathCheck]:
    """What was copied from another campaign, or changed, lets no drop through."""
    if not intended.not_kept:
        return []
    more = len(intended.not_kept) - 1
    text = intended.not_kept[0] + (f" (and {more} more, see `tautlog verify`)" if more else "")
    return [PathCheck("not-kept-here", False, text, refuses=True)]


def _calibration(intended: Intended, load: Load | None) -> list[PathCheck]:
    """Whether it is valid today, and its slope plausible up to the load."""
    calibration = intended.calibration
    found = list(validity(calibration, intended.day))
    doubts = intended.calibration_doubts
    if not doubts and not accepted_by(calibration):
        doubts = slope_doubts(
            calibration,
            promised=intended.promised_newton_per_volt,
            planned_n=load.force_n if load else None,
            units=intended.units,
        ) + uncertainty_doubts(calibration, intended.units)
    if doubts:
        text = "calibration: " + "; ".join(doubts)
        return [*found, PathCheck("calibration", False, text, refuses=True, final=True)]
    if intended.promised_newton_per_volt is None and not accepted_by(calibration):
        missing = ", ".join(intended.not_promised)
        text = f"calibration: no data sheet checks its scale (not stated: {missing})"
        return [*found, PathCheck("scale-unchecked", False, text)]
    return [*found, PathCheck("calibration", True, "calibration: plausible or accepted")]


def _legs(intended: Intended) -> list[PathCheck]:
    """Whether each further leg is calibrated today: without it their sum is not known."""
    found = []
    for leg in intended.legs:
        if leg.calibration is None:
            text = (
                f"channel {leg.name!r}: not calibrated, so that the sum of the legs is not known; "
                "calibrate it with `tautlog calibrate --channel`"
            )
            found.append(PathCheck("leg-uncalibrated", False, text, refuses=True))
            continue
        found += [
            replace(check, text=f"channel {leg.name!r}: {check.text}")
            for check in validity(leg.calibration, intended.day)
        ]
        doubts = () if accepted_by(leg.calibration) else uncertainty_doubts(leg.calibration)
        if doubts:
            text = f"calibration of {leg.name!r}: {'; '.join(doubts)}"
            found.append(PathCheck("leg-calibration", False, text, refuses=True, final=True))
    return found


def _on_mount(intended: Intended, load: Load | None) -> list[PathCheck]:
    if not intended.mount_name and len(intended.mounts) > 1:
        return []  # `_named` refuses already
    if intended.mount is None:
        named = f" {intended.mount_name!r}" if intended.mount_name else ""
        text = f"mount{named}: no [[mount]] in campaign.toml states its proof"
        return [PathCheck("mount-unknown", False, text, refuses=True)]
    # A failed, missing or used-up proof refuses whatever the peak.
    check = check_mount(
        intended.mount,
        load.force_n if load else 0.0,
        intended.drops_since_proof,
        proof_factor=intended.proof_factor,
        units=intended.units,
    )
    found = _renamed(intended.mount)
    if load is None:
        return [check, *found] if check.refuses else found
    return [_with_basis(check, load) if check.code == "mount-too-low" else check, *found]


def _renamed(mount: Mount) -> list[PathCheck]:
    """A failure under an old name still counts; a named person may override it."""
    if not mount.failed_elsewhere:
        return []
    text = f"{mount.name}: {mount.failed_elsewhere}"
    return [PathCheck("mount-renamed", False, text, refuses=True)]


def _on_rig(intended: Intended, predicted: Prediction | None) -> list[PathCheck]:
    """Largest mass, rails and catch, as far as the campaign states them."""
    rig, units, found = intended.rig, intended.units, []
    if rig.most_mass_kg is None:
        found.append(PathCheck("mass-unknown", False, "rig: its largest mass is not stated"))
    elif intended.mass_kg is not None:
        holds = intended.mass_kg <= rig.most_mass_kg
        mass = shown(intended.mass_kg, "kg", (rig.most_mass_kg,), units, least=2)
        text = f"sled: {mass.text} of {mass.level()}"
        found.append(PathCheck("mass", holds, text, refuses=not holds))
    if predicted is None:
        return found
    way_m = predicted.height_m + predicted.stretch_m
    if rig.rails_m is None:
        found.append(
            PathCheck("rails-unknown", False, "rig: the length of its rails is not stated")
        )
    else:
        needed_m = way_m + rig.margin_m
        holds = needed_m <= rig.rails_m
        needed = shown(needed_m, "m", (rig.rails_m,), units, least=3)
        text = (
            f"rails: {units.text(predicted.height_m, 'm', '.3f')} free + "
            f"{units.text(predicted.stretch_m, 'm', '.3f')} stretch + "
            f"{units.text(rig.margin_m, 'm', '.3f')} margin = {needed.text} of {needed.level()}"
        )
        found.append(PathCheck("rails", holds, text, refuses=not holds))
    return [*found, _on_catch(intended, predicted.mass_kg, way_m)]


def _on_catch(intended: Intended, mass_kg: float, way_m: float) -> PathCheck:
    """Whether the catch takes the sled from the highest latch, or this height, without a line.

    The weight goes on pushing while the catch gives: m g (h + s), as far as s is stated.
    """
    rig, units = intended.rig, intended.units
    if rig.catch_energy_j is None:
        return PathCheck("catch-unknown", False, "rig: the energy of its catch is not stated")
    fall_m = max(way_m, rig.rails_m or 0.0) + (rig.catch_stroke_m or 0.0)
    energy_j = mass_kg * STANDARD_GRAVITY_M_PER_S2 * fall_m
    holds = energy_j <= rig.catch_energy_j
    stroke = (
        "its own stroke is not stated, nor counted"
        if rig.catch_stroke_m is None
        else f"{units.text(rig.catch_stroke_m, 'm', '.3f')} of it in the catch"
    )
    energy = shown(energy_j, "J", (rig.catch_energy_j,), units)
    text = (
        f"catch: {energy.text} without any line, {units.text(mass_kg, 'kg', '.2f')} "
        f"over {units.text(fall_m, 'm', '.3f')} ({stroke}), of {energy.level()}"
    )
    return PathCheck("catch", holds, text, refuses=not holds)


def _on_chain(intended: Intended, load: Load) -> list[PathCheck]:
    """Cell and amplifier must reach above the peak, or what a leg that leans gets of it."""
    names = (intended.channel, *(leg.name for leg in intended.legs))
    leg_n, _ = leg_force_n(intended.leg_facts, names, intended.channel, load.force_n)
    peak_n = max(load.force_n, leg_n)
    rated_n, found = intended.electrics.rated_n, []
    if rated_n is None:
        found.append(PathCheck("cell-unknown", False, "cell: its rated load is not stated"))
    else:
        holds = peak_n <= rated_n
        peak = shown_force(peak_n, None, (rated_n,), intended.units)
        text = f"cell: {peak.text} of its rated {peak.level()}"
        found.append(PathCheck("cell-load", holds, text, refuses=not holds))
    span_n, note = _span_n(intended)
    holds = peak_n <= span_n
    peak = shown_force(peak_n, None, (span_n,), intended.units)
    text = f"amplifier: {peak.text} of the {peak.level()} between zero and rail{note}"
    found.append(PathCheck("amplifier-range", holds, text, refuses=not holds))
    return [_with_basis(check, load) for check in found]


def _span_n(intended: Intended) -> tuple[float, str]:
    """Tension from zero to the far rail, or the whole span if the zero is not known; a note."""
    calibration = intended.calibration
    up = calibration.newton_per_volt > 0
    zero_v = intended.electrics.zero_v if calibration.zero_v is None else calibration.zero_v
    if zero_v is None:
        return (calibration.rail_high_v - calibration.rail_low_v) * abs(
            calibration.newton_per_volt
        ), (" (its zero is not known: the whole span)")
    reach_v = (calibration.rail_high_v if up else calibration.rail_low_v) - zero_v
    return (
        calibration.newton_per_volt * reach_v + calibration.newton_per_square_volt * reach_v**2,
        "",
    )
