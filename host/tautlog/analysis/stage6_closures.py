"""Stage 6 of marking, the closures: whether momentum, rest and stretch are what they must be.

First what makes all of a drop agree (see `estimate`), then each closure with its budget.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.analysis.budgets import (
    Chain,
    FirstPull,
    displacement_budget,
    impulse_budget,
    rest_budget,
)
from tautlog.analysis.estimate import Estimate, Observed, Said, estimate
from tautlog.analysis.stage2_place import fall_time_s, taut_speed_m_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Impulse, Wholeness
from tautlog.analysis.stage5_after import After
from tautlog.analysis.stretch import motion
from tautlog.model.limits import K_FACTOR
from tautlog.model.marks import Finding
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.uncertainty import Budget

SHORTEST_FLIGHT_S = 0.005  # a line that flutters; own choice
# Of what a rail would have cut from the impulse: its form is guessed. Own choice.
PLATEAU_SIGMAS, PLATEAU_WITHIN = 2.0, 0.3


def chain_of(pull: Measured) -> Chain:
    """What is known of the measuring chain and of its zero."""
    trace = pull.signal.trace
    return Chain(
        trace.calibration_u_fraction,
        trace.calibration_u_n,
        trace.covered_n,
        trace.quantum_n,
        trace.bandwidth_hz,
        pull.zero.u_n,
        pull.zero.slope_n_per_s,
        0.0 if pull.signal.take_zero else pull.zero.value_n,
        trace.steps_u_n(pull.zero.value_n, pull.zero.value_n + pull.sign * pull.top_n),
        trace.steps.basis if trace.steps else "",
    )


@dataclass(frozen=True)
class Agreement:
    """What makes fall time, pulls, flights and rest agree; figures as in `marks.Marks`.

    `agreed` is None where the drop shows too little.
    """

    agreed: Estimate | None = None
    force_scale: float | None = None
    force_scale_expanded_u: float | None = None
    friction_n: float | None = None
    friction_expanded_u_n: float | None = None
    release_delay_s: float | None = None
    release_delay_expanded_u_s: float | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def sure_friction(self) -> float:
        """Friction over weight where the drop tells it above its uncertainty, else 0."""
        return 0.0 if self.agreed is None else self.agreed.sure_friction

    @property
    def told_friction(self) -> Estimate | None:
        """The estimate, where the drop tells the friction."""
        return self.agreed if self.agreed is not None and self.agreed.tells_friction else None

    def sure_friction_n(self, pull: Measured) -> float:
        """The same as a force."""
        return self.sure_friction * (pull.signal.setup.weight_n or 0.0)


def tell_agreement(pull: Measured, whole: Wholeness, after: After) -> Agreement:
    """Find what makes all agree, where the contact was seen whole."""
    setup = pull.signal.setup
    mass, height = setup.mass_kg, setup.height_m
    if not mass or not height or not whole.seen_whole:
        return Agreement()
    # What has let go hangs no more: nothing at rest says nothing of mass or gain.
    rest = None if pull.loss is not None else after.rest_force_n
    seen = Observed(
        after.pulls,
        fall_time_s(pull),
        None if rest is None else pull.sign * rest,
        max(pull.zero.u_n, pull.signal.trace.quantum_n / np.sqrt(12.0)),
        1.0 / pull.rate_hz,
    )
    found = estimate(seen, Said(mass, height, chain_of(pull).force_u_fraction(pull.top_n)))
    return Agreement() if found is None else _agreement(found, mass, height, len(after.pulls) > 1)


def _agreement(found: Estimate, mass_kg: float, height_m: float, several: bool) -> Agreement:
    """What is told of an estimate; scale and friction only where there were several pulls."""
    scale, friction = several and found.agrees, several and found.tells_friction
    late, weight_n = found.tells_delay, mass_kg * G
    findings = []
    if late:
        text = (
            f"the sled was let go {1000 * found.delay_s:.0f} ms after the switch opened "
            f"(+/- {2000 * found.delay_u_s:.0f} ms): this is no friction"
        )
        findings.append(Finding("late-latch", text))
    if not found.agrees and found.wrong:
        findings.append(Finding(f"disagree-{found.wrong}", found.words(mass_kg, height_m)))
    return Agreement(
        agreed=found,
        force_scale=found.scale if scale else None,
        force_scale_expanded_u=K_FACTOR * found.scale_u if scale else None,
        friction_n=weight_n * found.friction_fraction if friction else None,
        friction_expanded_u_n=K_FACTOR * weight_n * found.friction_u if friction else None,
        release_delay_s=found.delay_s if late else None,
        release_delay_expanded_u_s=K_FACTOR * found.delay_u_s if late else None,
        findings=tuple(findings),
    )


@dataclass(frozen=True)
class Closures:
    """Closures and their budgets; figures as in `marks.Marks`.

    `fall_speed_m_s` is what the fall gives the sled until the line is taut, and `speed_out_m_s`
    its upward speed at slack.
    """

    fall_speed_m_s: float | None
    speed_out_m_s: float | None
    rest_closure: float | None
    rest_closure_expanded_u: float | None
    impulse_closure: float | None
    impulse_closure_expanded_u: float | None
    displacement_closure_m: float | None
    displacement_closure_expanded_u_m: float | None
    budgets: tuple[Budget, ...]

    @property
    def impulse_spread(self) -> float:
        """Expanded uncertainty of the impulse closure; 0 where there is none."""
        return self.impulse_closure_expanded_u or 0.0


def tell_closures(pull: Measured, impulse: Impulse, after: After, agreement: Agreement) -> Closures:
    """Tell what can be told of rest, momentum and stretch."""
    v_in = taut_speed_m_s(pull, agreement.sure_friction)
    v_out = _rebound_speed(pull, after, agreement)
    chain, first = chain_of(pull), _first_pull(pull, impulse, agreement, v_in)
    rest = _rest_budget(pull, after, agreement)
    turned = left = None
    if first is not None and v_out is not None:
        turned = impulse_budget(first, v_out, chain, pull.top_n)
    if first is not None and pull.loss is None:
        left_m = _stretch_left(pull, first, agreement.sure_friction_n(pull))
        left = displacement_budget(first, left_m, chain, pull.top_n)
    return Closures(
        fall_speed_m_s=v_in,
        speed_out_m_s=v_out,
        rest_closure=_value(rest),
        rest_closure_expanded_u=_spread(rest),
        impulse_closure=_value(turned),
        impulse_closure_expanded_u=_spread(turned),
        displacement_closure_m=_value(left),
        displacement_closure_expanded_u_m=_spread(left),
        budgets=tuple(budget for budget in (rest, turned, left) if budget is not None),
    )


def _value(budget: Budget | None) -> float | None:
    return None if budget is None else budget.value


def _spread(budget: Budget | None) -> float | None:
    return None if budget is None else budget.expanded_u


def _rest_budget(pull: Measured, after: After, agreement: Agreement) -> Budget | None:
    mass, rest_n = pull.signal.setup.mass_kg, after.rest_force_n
    if rest_n is None or not mass:
        return None
    told = agreement.told_friction
    friction = None if told is None else told.friction_fraction
    since_s = (pull.force_n.size - pull.window_middle) / pull.rate_hz
    return rest_budget(pull.sign * rest_n, mass, chain_of(pull), friction, since_s)


def _first_pull(
    pull: Measured, impulse: Impulse, agreement: Agreement, v_in_m_s: float | None
) -> FirstPull | None:
    """The first pull, where mass, speed and impulse are known."""
    setup, found = pull.signal.setup, impulse.pull
    if not setup.mass_kg or not v_in_m_s or found is None:
        return None
    told = agreement.told_friction
    return FirstPull(
        setup.mass_kg,
        setup.height_m,
        v_in_m_s,
        found.impulse_ns,
        found.moment_ns2,
        found.length_s,
        None if told is None else told.friction_u,
    )


def _rebound_speed(pull: Measured, after: After, agreement: Agreement) -> float | None:
    """Upward speed at slack from the flight to the next contact."""
    if pull.slack is None or not pull.later:
        return None
    if agreement.agreed is not None and agreement.agreed.agrees:
        return agreement.agreed.speed_out_m_s
    if len(after.pulls) > 1:
        following = after.pulls[1].onset_s * pull.rate_hz
    else:
        following = pull.later[0].start
    flight_s = (following - pull.slack) / pull.rate_hz
    return None if flight_s <= SHORTEST_FLIGHT_S else 0.5 * G * flight_s


def _stretch_left(pull: Measured, first: FirstPull, friction_n: float) -> float:
    """Stretch at slack: g - F/m integrated twice, from nothing at onset."""
    assert pull.slack is not None  # without it there is no impulse
    force = pull.force_n[pull.first : int(pull.slack) + 1]
    if not force.size:
        return 0.0
    since_s, mass, v_in = pull.since_onset_s, first.mass_kg, first.speed_in_m_s
    return float(motion(force, pull.rate_hz, since_s, mass, v_in, friction_n)[0][-1])


def tell_plateau(
    pull: Measured, whole: Wholeness, impulse: Impulse, closures: Closures
) -> tuple[Finding, ...]:
    """Tell rail from yield: whether the impulse lacks what a rail would have cut away."""
    closure, spread = closures.impulse_closure, closures.impulse_spread
    if closure is None or not whole.flat or not impulse.impulse_ns:
        return ()
    lacking = whole.crest.missing_ns(pull.top_n) / abs(impulse.impulse_ns)
    lost = lacking / (1.0 + lacking)
    if lost <= PLATEAU_SIGMAS * spread:
        return ()
    if abs(closure - 1.0) <= spread:
        text = (
            f"the impulse is whole, and a rail would have cut {100 * lost:.0f} % from it: "
            "something yielded, slipped or held"
        )
        return (Finding("plateau-whole", text),)
    if abs(1.0 - closure - lost) <= max(spread, PLATEAU_WITHIN * lost):
        text = (
            f"the impulse lacks {100 * (1.0 - closure):.0f} %, as a rail at this level would "
            "have cut: the amplifier was at its limit"
        )
        return (Finding("plateau-cut", text),)
    return ()
