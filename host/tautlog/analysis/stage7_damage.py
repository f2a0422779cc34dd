"""Stage 7 of marking, the damage: what slipped, ripped or gave, and where that began."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from tautlog.analysis import slip
from tautlog.analysis.damage import RIPPING, find_early_fall, find_serration, two_peaks
from tautlog.analysis.stage2_place import fall_time_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Wholeness
from tautlog.analysis.stage5_after import After, LossTold
from tautlog.analysis.stage6_closures import Agreement, Closures
from tautlog.analysis.stage6_speed import Speed
from tautlog.analysis.stretch import Stretch, force_over_stretch
from tautlog.analysis.stretch_budgets import Spread, spread_of
from tautlog.analysis.taut_speed import NONE, ByFall, Change, Way
from tautlog.model.limits import CLOSURE_SUSPECT
from tautlog.model.marks import Finding

FloatArray = npt.NDArray[np.float64]

AT_PLATEAU = 0.98  # of the highest force: a force that slips stays so near it; own choice


@dataclass(frozen=True)
class Shape:
    """What rise and top look like; figures as in `marks.Marks`.

    `first_fall` is the sample from which the force first fell on its way up, and that force.
    """

    first_fall: tuple[int, float] | None
    serrations: int
    findings: tuple[Finding, ...]


def tell_shape(pull: Measured, closures: Closures, calm_n: FloatArray) -> Shape:
    """Tell falls on the way up, and a second peak, of the force without a fixture's ring."""
    serration = find_serration(calm_n, pull.first, pull.peak, pull.even_noise_n)
    findings: tuple[Finding, ...] = ()
    if serration.count >= RIPPING:
        text = (
            f"the force falls {serration.count} times on its way up: stitches that rip, "
            "a thread that strips or a knot that slips"
        )
        findings = (Finding("ripping", text),)
    first = serration.first
    first_fall = None if first is None else (first, float(pull.even_n[first]))
    early = find_early_fall(pull.force_n, pull.rate_hz, pull.first, pull.peak, pull.noise_n)
    if early is not None and (first is None or early[0] <= first):
        first_fall = early[0], float(pull.force_n[early[0]])
        findings += (_early_fall(pull, *early),)
    return Shape(first_fall, serration.count, findings + _two_peaks(pull, closures, calm_n))


def _early_fall(pull: Measured, top: int, bottom: int) -> Finding:
    from_n, to_n = float(pull.force_n[top]), float(pull.force_n[bottom])
    text = (
        f"low in its rise, at {pull.at_s(top):.4f} s, the force falls at once from {from_n:.0f} N "
        f"to {to_n:.0f} N and rises on: one of several legs, or a stitch, let go, and what was "
        "left bore the peak"
    )
    return Finding("early-fall", text)


def _two_peaks(pull: Measured, closures: Closures, calm_n: FloatArray) -> tuple[Finding, ...]:
    rate, stop = pull.rate_hz, pull.contact.stop
    if pull.loss is not None:
        stop = int(pull.loss.index)
    found = two_peaks(calm_n, rate, pull.first, stop)
    if found is None:
        return ()
    first, second = found
    text = (
        f"two peaks in one contact: {calm_n[first]:.0f} N at "
        f"{pull.at_s(first):.4f} s and {calm_n[second]:.0f} N "
        f"{1000 * (second - first) / rate:.1f} ms later; {_why_two_peaks(closures)}"
    )
    return (Finding("two-peaks", text),)


def _why_two_peaks(closures: Closures) -> str:
    closure = closures.impulse_closure
    if closure is None:
        return "no impulse check tells legs of unequal length from a touched stop"
    if abs(closure - 1.0) <= max(CLOSURE_SUSPECT, closures.impulse_spread):
        return "the impulse is whole: legs of unequal length, or something slipped or gave"
    if closure < 1.0:
        return "impulse is lacking: a stop may have taken the rest"
    return "there is too much impulse: look at gain and mass first"


@dataclass(frozen=True)
class StretchTold:
    """Force over stretch, where the whole contact can be believed.

    Attributes
    ----------
    stretch : Stretch
        Its figures; none where the top is flat, or the two ways to the speed contradict.
    spread : Spread
        Their expanded uncertainties.
    slipped : bool
        The first pull left and cost more than the line's own loss.
    findings : tuple of Finding
        What was noticed.
    """

    stretch: Stretch = field(default_factory=Stretch)
    spread: Spread = field(default_factory=Spread)
    slipped: bool = False
    findings: tuple[Finding, ...] = ()


def tell_stretch(
    pull: Measured,
    whole: Wholeness,
    after: After,
    agreement: Agreement,
    closures: Closures,
    speed: Speed,
    loss: LossTold,
) -> StretchTold:
    """Tell force over stretch, and whether the line slipped."""
    mass, v_in = pull.signal.setup.mass_kg, closures.fall_speed_m_s
    broke_s = loss.break_time_s
    stop = pull.slack if pull.loss is None else pull.loss.index
    # A flat top is a rail, or something that yields: impulse tells.
    at_limit = whole.clipped and not whole.flat
    if not mass or not v_in or stop is None or whole.gap_in_contact or at_limit:
        return StretchTold()
    # A slip is told from what a fall without loss leaves, whatever the speed of the figures is.
    fallen = ByFall(v_in, pull.signal.setup.height_m, agreement.sure_friction)
    found = _stretch_at(pull, fallen, int(stop), NONE)
    stretch, spread = Stretch(), Spread()
    if speed.entry is not None and not whole.flat:
        entry = speed.entry
        at = partial(_stretch_at, pull, entry.way, int(stop), early_s=speed.toe_s)
        stretch = at(NONE)
        spread = spread_of(stretch, at, entry.inputs)
    left_m = closures.displacement_closure_m
    if broke_s is not None or not found.max_stretch_m or not left_m:
        return StretchTold(stretch, spread)
    fall = _fall(pull, agreement, v_in)
    if speed.odd:
        told = slip.UNCLEAR  # whatever the stretch at slack is of, it is not of the line alone
    elif whole.flat:
        told = _slip_of_flat(after, fall)
    else:
        left_u_m = closures.displacement_closure_expanded_u_m or 0.0
        told = _slip(pull, after, agreement, fall, found, left_u_m)
        if told == slip.HELD and slip.may_have_slid(found, pull.noise_n / pull.top_n):
            return StretchTold(stretch, spread, findings=(_may_have_slid(found),))
    return StretchTold(stretch, spread, told == slip.SLIPPED, _about_slip(told, left_m))


def _stretch_at(
    pull: Measured, way: Way, stop: int, change: Change, *, early_s: float = 0.0
) -> Stretch:
    """Force over stretch from a time before the onset on, if the inputs are off by that much."""
    later_s = change.onset_s - change.toe_s - early_s
    onset = max(pull.onset + later_s * pull.rate_hz, 0.0)
    first = int(onset)  # of a long trace no more is copied than this pull
    mass = pull.signal.setup.mass_kg or 0.0
    friction = max(way.friction + change.friction, 0.0)
    return force_over_stretch(
        pull.force_n[first : stop + 1] * (1.0 + change.force) - change.zero_n,
        pull.rate_hz,
        onset=onset - first,
        stop=stop - first,
        mass_kg=mass * (1.0 + change.mass),
        taut_speed_m_s=way.at(change),
        friction_n=friction * (pull.signal.setup.weight_n or 0.0),
        broke=pull.loss is not None,
    )


def _fall(pull: Measured, agreement: Agreement, v_in_m_s: float) -> slip.Fall:
    """Bounds of the speed at onset."""
    agreed = agreement.agreed
    delay_s = agreed.delay_s if agreed is not None and agreed.tells_delay else 0.0
    return slip.fall_between(v_in_m_s, pull.signal.setup.height_m, fall_time_s(pull), delay_s)


def _slip_of_flat(after: After, fall: slip.Fall) -> str:
    """Whether a flat top is that of a line that yields: only the flights can tell."""
    lost = slip.speed_lost(after.pulls, fall.least_m_s)
    gone = lost is not None and lost > slip.FLAT_LEAST_LOST
    return slip.SLIPPED if gone else slip.UNCLEAR


def _slip(
    pull: Measured,
    after: After,
    agreement: Agreement,
    fall: slip.Fall,
    found: Stretch,
    left_u_m: float,
) -> str:
    """What the pulls together tell of a slip in the first."""
    mass, agreed, largest_m = pull.signal.setup.mass_kg, agreement.agreed, found.max_stretch_m
    assert mass and largest_m  # whoever asks has them
    scale = agreed.scale if agreed is not None and agreed.agrees else 1.0
    sure_share = left_u_m / largest_m
    return slip.tell(
        pull.force_n, pull.rate_hz, after.pulls, scale * mass, fall, sure_share, found.misfit
    )


def _place_words(left_m: float) -> str:
    return f"{1000 * abs(left_m):.0f} mm {'below' if left_m >= 0.0 else 'above'}"


def _may_have_slid(found: Stretch) -> Finding:
    text = (
        f"the whole pull is that of a part that slides as long as it is pulled, by "
        f"{100.0 * (found.slid_share or 0.0):.0f} % of the stretch: the trace does not tell one "
        "that stays longer from a line that creeps and recovers"
    )
    return Finding("slip-not-excluded", text)


def _about_slip(told: str, left_m: float) -> tuple[Finding, ...]:
    if told == slip.SLIPPED:
        text = (
            "the first pull left and cost more than the line's own loss: at slack the sled is "
            f"{_place_words(left_m)} where the line came taut; it slipped, or something "
            "yielded or tore"
        )
        return (Finding("slip", text),)
    if told == slip.UNCLEAR:
        text = (
            f"at slack the sled is {_place_words(left_m)} where the line came taut: the "
            "pulls do not tell a slip of a tenth of the stretch from the line's own loss"
        )
        return (Finding("slip-not-excluded", text),)
    return ()


@dataclass(frozen=True)
class Damage:
    """Where damage began; figures as in `marks.Marks`."""

    first_damage_time_s: float | None = None
    first_damage_force_n: float | None = None


def tell_damage(pull: Measured, loss: LossTold, shape: Shape, stretch: StretchTold) -> Damage:
    """Tell where damage began: at a fall on the way up, a slip, or the loss of load."""
    fall = shape.first_fall
    if fall is None and stretch.slipped:
        start = _plateau_start(pull)
        fall = start, float(pull.even_n[start])
    broke_s = loss.break_time_s
    if broke_s is not None and (fall is None or pull.at_s(fall[0]) > broke_s):
        return Damage(broke_s, loss.break_force_n)
    if fall is None:
        return Damage()
    return Damage(pull.at_s(fall[0]), pull.sign * fall[1])


def _plateau_start(pull: Measured) -> int:
    """First sample at which the force is nearly as high as it gets."""
    piece = pull.even_n[pull.contact.start : pull.contact.stop]
    return pull.contact.start + int(np.argmax(piece >= AT_PLATEAU * float(piece.max())))
