"""Stage 6 of marking, the speed at which the line came taut: by which way it is told.

The fall tells it where the drop shows the friction of its rails. Where it does not, the fall
says only what a sled without friction would have had, and momentum tells more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautlog.analysis.before_pull import level_before, lies_low_s, toe_s
from tautlog.analysis.stage2_place import taut_speed_m_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Impulse
from tautlog.analysis.stage6_closures import Agreement, Closures, chain_of
from tautlog.analysis.stretch_budgets import speed_budget
from tautlog.analysis.taut_speed import (
    ByFall,
    ByMomentum,
    Change,
    Entry,
    Input,
    contradict,
)
from tautlog.model.limits import FRICTION_U, HEIGHT_U_M, MASS_U_FRACTION, ONSET_U_S
from tautlog.model.marks import Finding
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.uncertainty import Budget, rectangular

# Times its expanded uncertainty: then no chance puts the sled above the place; own choice.
ABOVE_TAUT = 1.5
ODD = ("baseline-step", "pulls-above-taut")


@dataclass(frozen=True)
class Speed:
    """The speed at which the line came taut; figures as in `marks.Marks`.

    `entry` is the way that it was told by; None where it is not told. `toe_s` is by how much
    the force rose before the onset, and all that hangs on the stretch begins with it.
    """

    entry: Entry | None = None
    toe_s: float = 0.0
    taut_speed_m_s: float | None = None
    taut_speed_expanded_u_m_s: float | None = None
    restitution: float | None = None
    findings: tuple[Finding, ...] = ()
    budgets: tuple[Budget, ...] = ()

    @property
    def odd(self) -> bool:
        """Whether the pull begins or ends as no line's does."""
        return any(one.code in ODD for one in self.findings)


def tell_speed(pull: Measured, impulse: Impulse, agreement: Agreement, closures: Closures) -> Speed:
    """Tell the speed, and how well it is known."""
    fall = _by_fall(pull, agreement)
    momentum = _by_momentum(pull, impulse, agreement, closures)
    entry = fall if agreement.told_friction is not None or momentum is None else momentum
    doubts = _odd_begin(pull, closures)
    if fall is not None and momentum is not None and contradict(fall, momentum):
        doubts += (_contradiction(fall, momentum),)
    if entry is None or doubts:
        return Speed(findings=doubts)
    early_s = toe_s(pull.force_n, pull.rate_hz, pull.onset, pull.noise_n)
    if early_s > 2.0 * ONSET_U_S:
        entry = replace(entry, inputs=(*entry.inputs, _toe(early_s)))
    else:
        early_s = 0.0
    budget = speed_budget(entry.way.at, entry.inputs)
    out_m_s, speed_m_s = closures.speed_out_m_s, entry.way.speed_m_s
    return Speed(
        entry=entry,
        toe_s=early_s,
        taut_speed_m_s=speed_m_s,
        taut_speed_expanded_u_m_s=budget.expanded_u,
        restitution=None if out_m_s is None or speed_m_s <= 0.0 else out_m_s / speed_m_s,
        budgets=(budget,),
    )


def _toe(early_s: float) -> Input:
    """How far a rope that begins softly was taut before its force stood above the noise."""
    basis = (
        f"the force rose {1e3 * early_s:.1f} ms before its onset, and as long before that it may "
        "have been hidden by noise"
    )
    return Input("toe", Change(toe_s=rectangular(early_s)), basis)


def _odd_begin(pull: Measured, closures: Closures) -> tuple[Finding, ...]:
    """What no line does that a falling sled pulls taut."""
    found = []
    level_n = level_before(pull.force_n, pull.rate_hz, pull.onset, pull.noise_n)
    low_s = lies_low_s(pull.even_n, pull.rate_hz, pull.onset, pull.peak)
    if level_n is not None:
        text = (
            f"right before the line came taut the cell read {level_n:.0f} N off the zero of the "
            "fall: a cable that tugs, or an offset that stepped; it is in the peak, too"
        )
        found.append(Finding("baseline-step", text))
    elif low_s is not None:
        text = (
            f"the force lies low for {1000 * low_s:.0f} ms before it rises: no line that a "
            "falling sled pulls taut does that; a cable that tugs, an offset that stepped, or "
            "something that dragged"
        )
        found.append(Finding("baseline-step", text))
    left_m, spread_m = closures.displacement_closure_m, closures.displacement_closure_expanded_u_m
    if left_m is not None and spread_m is not None and left_m < -ABOVE_TAUT * spread_m:
        text = (
            f"the force goes on until the sled is {-1000 * left_m:.0f} mm (+/- "
            f"{1000 * spread_m:.0f} mm) above where the line came taut, where no line pulls: an "
            "offset, an amplifier that is slow, or gain, mass or height"
        )
        found.append(Finding("pulls-above-taut", text))
    return tuple(found)


def _contradiction(fall: Entry, momentum: Entry) -> Finding:
    text = (
        f"the fall says that the sled had {fall.way.speed_m_s:.2f} m/s when the line came taut, "
        f"the momentum says {momentum.way.speed_m_s:.2f} m/s: they differ by more than both can "
        "be off, and no speed, energy or stretch is told"
    )
    return Finding("speed-contradicts", text)


def _by_fall(pull: Measured, agreement: Agreement) -> Entry | None:
    friction = _friction(agreement)
    speed_m_s = taut_speed_m_s(pull, friction)
    if speed_m_s is None:
        return None
    way = ByFall(speed_m_s, pull.signal.setup.height_m, friction)
    known = (
        Input("height", Change(height_m=HEIGHT_U_M), "5 mm; common practice")
        if way.height_m is not None
        else Input("clock", Change(onset_s=ONSET_U_S), f"fall to {1e3 * ONSET_U_S:g} ms")
    )
    return Entry(way, (known, *_of_any(pull, agreement, way.height_m is not None)))


def _by_momentum(
    pull: Measured, impulse: Impulse, agreement: Agreement, closures: Closures
) -> Entry | None:
    """By the momentum, where a flight follows a pull that was seen whole."""
    mass_kg, found, out_m_s = pull.signal.setup.mass_kg, impulse.pull, closures.speed_out_m_s
    if not mass_kg or found is None or out_m_s is None or pull.loss is not None:
        return None
    friction = _friction(agreement)
    way = ByMomentum(mass_kg, found.impulse_ns, found.length_s, out_m_s, friction)
    if way.speed_m_s <= 0.0:
        return None
    flight_u_m_s = 0.5 * G * math.sqrt(2.0) * ONSET_U_S
    clock = f"flight, onset and slack to {1e3 * ONSET_U_S:g} ms"
    flight = Input("rebound speed", Change(flight_m_s=flight_u_m_s), clock)
    return Entry(way, (flight, *_of_any(pull, agreement, True)))


def _friction(agreement: Agreement) -> float:
    """Friction over weight that is reckoned with: where the drop tells that there is some."""
    told = agreement.told_friction
    seen = told is not None and told.friction_fraction > told.friction_u
    return told.friction_fraction if told is not None and seen else 0.0


def _of_any(pull: Measured, agreement: Agreement, onset: bool) -> tuple[Input, ...]:
    """Inputs of both ways, and of the stretch that begins with the speed."""
    told, chain = agreement.told_friction, chain_of(pull)
    friction_u, rails = float(FRICTION_U), FRICTION_U.basis
    if told is not None:
        # What the drop tells and is not reckoned with is a known offset (GUM F.2.4.5).
        friction_u = math.hypot(told.friction_u, told.friction_fraction - _friction(agreement))
        rails = "of the rails, as fall time, pulls and flights tell it"
    inputs = (
        Input("force", Change(force=chain.force_u_fraction(pull.top_n)), "calibration and beyond"),
        Input("mass", Change(mass=MASS_U_FRACTION), "0.5 %; common practice"),
        Input("friction", Change(friction=friction_u), rails),
        Input("zero", Change(zero_n=chain.zero_known_n), "slack window", "A", 7),
    )
    if not onset:
        return inputs
    clock = f"the line came taut to {1e3 * ONSET_U_S:g} ms"
    return (*inputs, Input("onset", Change(onset_s=ONSET_U_S), clock))
