"""Stage 6 of marking, the speed at which the line came taut: by which way it is told.

The fall tells it where the drop shows the friction of its rails. Where it does not, the fall
says only what a sled without friction would have had, and momentum tells more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
from tautlog.model.uncertainty import Budget


@dataclass(frozen=True)
class Speed:
    """The speed at which the line came taut; figures as in `marks.Marks`.

    `entry` is the way that it was told by; None where it is not told.
    """

    entry: Entry | None = None
    taut_speed_m_s: float | None = None
    taut_speed_expanded_u_m_s: float | None = None
    restitution: float | None = None
    findings: tuple[Finding, ...] = ()
    budgets: tuple[Budget, ...] = ()


def tell_speed(pull: Measured, impulse: Impulse, agreement: Agreement, closures: Closures) -> Speed:
    """Tell the speed, and how well it is known."""
    fall = _by_fall(pull, agreement)
    momentum = _by_momentum(pull, impulse, agreement, closures)
    entry = fall if agreement.told_friction is not None or momentum is None else momentum
    if entry is None:
        return Speed()
    if fall is not None and momentum is not None and contradict(fall, momentum):
        return Speed(findings=(_contradiction(fall, momentum),))
    budget = speed_budget(entry.way.at, entry.inputs)
    out_m_s, speed_m_s = closures.speed_out_m_s, entry.way.speed_m_s
    return Speed(
        entry=entry,
        taut_speed_m_s=speed_m_s,
        taut_speed_expanded_u_m_s=budget.expanded_u,
        restitution=None if out_m_s is None or speed_m_s <= 0.0 else out_m_s / speed_m_s,
        budgets=(budget,),
    )


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
    friction_u, rails = FRICTION_U, FRICTION_U.basis
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
