"""Legs: each leg of a bridle marked like any force, and how the legs shared the drop."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tautlog.analysis.find_contacts import rise_through
from tautlog.analysis.leg_limits import judge_leg, limit_findings
from tautlog.analysis.leg_order import UNCLEAR, order_of
from tautlog.analysis.leg_vectors import LegForce, asymmetry, resultant
from tautlog.analysis.marking import mark
from tautlog.model.leg_facts import LegFacts, leaning, read_leg_facts
from tautlog.model.legs import AXIAL, PLAIN, SUM, Leg, Legs
from tautlog.model.limits import K_FACTOR, ONSET_U_S
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.uncertainty import rectangular

# Shares of a leg's peak between which its onset is read a second time; its own are 2 and 6 %.
SECOND_LOW, SECOND_HIGH = 0.06, 0.18
# A straight line through a third and a whole of a level, extended to zero: t1 - (t2 - t1) / 2. Its
# variance is 1.5^2 + 0.5^2 times that of one crossing.
EXTENDED_U = math.sqrt(2.5)
LOOK_BACK_S = 0.02  # before the contact, where its rise begins; as for a filter's foreshoot
LEAST_LEG = 0.1  # of the sum: a leg that carried less at its peak did not pull; own choice


def tell_legs(
    whole: Marks,
    legs: Mapping[str, Trace | None],
    setup: DropSetup,
    *,
    cfc: int | None,
    zero: str,
) -> Legs:
    """Mark each leg, and compare the legs.

    Parameters
    ----------
    whole : Marks
        Marks of the sum.
    legs : mapping of str to Trace or None
        The legs by name, at the same times; None for one that is not calibrated.
    setup : DropSetup
        The drop. Its mass, height and target belong to the sum and are not used for a leg.
    cfc, zero : int or None, str
        As for `marking.mark`.
    """
    alone = replace(setup, mass_kg=None, height_m=None, target_n=None, limit_n=None)
    facts = {one.name: one for one in read_leg_facts(setup.leg_facts)}
    lean = leaning(tuple(facts.values()), tuple(legs))
    told = [
        Leg(name, calibrated=False)
        if trace is None
        else _leg(name, trace, mark(trace, alone, cfc=cfc, zero=zero))
        for name, trace in legs.items()
    ]
    if all(leg.calibrated for leg in told) and whole.peak_time_s is not None:
        told = _shared(told, dict(legs), whole.peak_time_s)
    told = [judge_leg(leg, facts[leg.name]) if leg.name in facts else leg for leg in told]
    order = order_of(told, legs, cfc)
    found = Legs(
        tuple(told),
        judged_on=setup.judged_on or SUM,
        sum_peak_force_n=whole.peak_force_n,
        sum_peak_force_expanded_u_n=whole.peak_force_expanded_u_n,
        sum_is=AXIAL if lean else PLAIN,
        let_go_first=order.first,
        let_go_order=order.word,
        let_go_apart_s=order.apart_s,
        let_go_resolved_s=order.resolved_s,
    )
    found = _with_vectors(found, legs, lean)
    found = _with_onsets(found, whole.taut_speed_m_s)
    strange = _strangers(facts, tuple(legs), leans=bool(lean))
    return replace(found, findings=(*_findings(found), *strange, *limit_findings(found)))


def _leg(name: str, trace: Trace, marks: Marks) -> Leg:
    return Leg(
        name,
        calibrated=True,
        peak_force_n=marks.peak_force_n,
        peak_force_expanded_u_n=marks.peak_force_expanded_u_n,
        peak_time_s=marks.peak_time_s,
        onset_time_s=marks.onset_time_s,
        onset_expanded_u_s=_onset_u_s(trace, marks),
        break_time_s=marks.break_time_s,
        break_force_n=marks.break_force_n,
        marks=marks,
    )


def _onset_u_s(trace: Trace, marks: Marks) -> float | None:
    """Expanded uncertainty (k = 2) of an onset.

    Parts: what simulated drops show (`ONSET_U_S`); noise and zero over the slope of the rise; and
    how far a second line, through higher levels, is extended to another time, which shows how
    curved the rise is. Own method; tests hold it against two springs of known slack.
    """
    curve, onset_s, peak_n = marks.curve, marks.onset_time_s, marks.peak_force_n
    if curve is None or onset_s is None or marks.peak_time_s is None or not peak_n:
        return None
    rate = trace.sample_rate_hz
    pull = np.nan_to_num(curve.sign * curve.force_n)
    peak = round(trace.place_of(marks.peak_time_s))
    start = max(0, int(trace.place_of(onset_s - LOOK_BACK_S)))
    low, high = (
        rise_through(pull, share * abs(peak_n), start, peak) for share in (SECOND_LOW, SECOND_HIGH)
    )
    if low is None or high is None or high <= low:
        return None
    slope = (SECOND_HIGH - SECOND_LOW) * abs(peak_n) * rate / (high - low)
    second_s = trace.at_s(low - 0.5 * (high - low))
    quiet = pull[max(0, start - int(5 * LOOK_BACK_S * rate)) : start]
    noise_n = float(np.std(quiet)) if quiet.size else 0.0
    parts = (ONSET_U_S, EXTENDED_U * noise_n / slope, rectangular(second_s - onset_s), 0.29 / rate)
    return K_FACTOR * math.hypot(*parts)


def _shared(told: list[Leg], traces: Mapping[str, Trace | None], peak_s: float) -> list[Leg]:
    """The legs with their shares at the peak of the sum."""
    forces = [0.0 if leg.marks is None else _force_at(leg.marks, peak_s) for leg in told]
    total = math.fsum(forces)
    if not math.isfinite(total) or not total:
        return told
    shares = [force / total for force in forces]
    spreads_n = [
        _force_u_n(traces[leg.name], leg.marks, force)
        for leg, force in zip(told, forces, strict=True)
    ]
    return [
        replace(leg, force_at_peak_n=force, share=share, share_expanded_u=spread)
        for leg, force, share, spread in zip(
            told, forces, shares, share_u(shares, spreads_n, total), strict=True
        )
    ]


def _with_vectors(
    found: Legs, traces: Mapping[str, Trace | None], lean: Sequence[LegFacts]
) -> Legs:
    """Asymmetry, and the vector sum if the angles are stated, both at the peak of the sum."""
    forces = []
    for leg in found.legs:
        trace, force_n = traces[leg.name], leg.force_at_peak_n
        if trace is None or force_n is None or leg.marks is None:
            return found
        gain_n = (trace.calibration_u_fraction * abs(force_n) + trace.calibration_u_n) / K_FACTOR
        forces.append(LegForce(force_n, gain_n, leg.marks.noise_n or 0.0))
    uneven = asymmetry(forces)
    if uneven is not None:
        found = replace(found, asymmetry=uneven[0], asymmetry_expanded_u=uneven[1])
    if not lean:
        return found
    whole = resultant(forces, lean)
    return replace(
        found,
        resultant_force_n=whole.total_n,
        resultant_expanded_u_n=whole.total_expanded_u_n,
        resultant_off_vertical_deg=whole.off_vertical_deg,
    )


def _force_at(marks: Marks, time_s: float) -> float:
    return marks.curve.at(time_s) if marks.curve is not None else math.nan


def _force_u_n(trace: Trace | None, marks: Marks | None, force_n: float) -> float:
    """Standard uncertainty of a leg's force: calibration, and the noise of one sample."""
    if trace is None or marks is None:
        return 0.0
    slope_n = trace.calibration_u_fraction * force_n
    return math.hypot(0.5 * slope_n, 0.5 * trace.calibration_u_n, marks.noise_n or 0.0)


def share_u(shares: list[float], force_u_n: list[float], total_n: float) -> list[float]:
    """Expanded uncertainty (k = 2) of shares s_i = F_i / sum F (JCGM 100:2008, 5.1.2).

    With ds_i / dF_i = (1 - s_i) / sum F and ds_i / dF_j = -s_i / sum F, for independent forces: a
    common factor of all forces leaves the shares as they are.
    """
    return [
        K_FACTOR
        * math.hypot(*(((i == j) - share) * u_n / total_n for j, u_n in enumerate(force_u_n)))
        for i, share in enumerate(shares)
    ]


def _with_onsets(found: Legs, speed_m_s: float | None) -> Legs:
    """The first and the last onset, and what lies between them."""
    taut = [leg for leg in found.legs if leg.onset_time_s is not None]
    if len(taut) < len(found.legs) or len(taut) < 2:
        return found
    taut.sort(key=lambda leg: leg.onset_time_s or 0.0)
    first, last = taut[0], taut[-1]
    apart_s = (last.onset_time_s or 0.0) - (first.onset_time_s or 0.0)
    spreads = (first.onset_expanded_u_s, last.onset_expanded_u_s)
    if spreads[0] is None or spreads[1] is None:
        return replace(found, onset_difference_s=apart_s)
    spread_s = math.hypot(*(spread for spread in spreads if spread is not None))
    second_s = taut[1].onset_time_s or 0.0
    told = second_s - (first.onset_time_s or 0.0) > spread_s
    found = replace(
        found,
        first_taut=first.name if told else None,
        onset_difference_s=apart_s,
        onset_difference_expanded_u_s=spread_s,
    )
    if speed_m_s is None:
        return found
    return replace(
        found,
        slack_difference_m=speed_m_s * apart_s,
        slack_difference_expanded_u_m=speed_m_s * spread_s,
    )


def _findings(found: Legs) -> list[Finding]:
    told = []
    for leg in found.legs:
        if not leg.calibrated:
            text = (
                f"the channel {leg.name!r} is not calibrated: its counts are kept, the sum of the "
                "legs is not known; `tautlog calibrate --channel`, then mark again with "
                "--calibration"
            )
            told.append(Finding("leg-uncalibrated", text))
        elif leg.share is not None and leg.share < LEAST_LEG / len(found.legs):
            text = f"{leg.name!r} carried {100 * leg.share:.0f} % at the peak: it did not pull"
            told.append(Finding("leg-slack", text))
        if leg.marks is not None and leg.marks.clipped:
            told.append(Finding("leg-clipped", f"{leg.name!r} was at a limit, or its top is flat"))
    if found.let_go_first:
        told.append(Finding("leg-let-go", _let_go_words(found)))
    elif found.let_go_order == UNCLEAR:
        told.append(Finding("leg-order-unclear", _unclear_words(found)))
    if found.judged_on != SUM and found.named(found.judged_on) is None:
        names = ", ".join(leg.name for leg in found.legs)
        text = f"the test is judged on {found.judged_on!r}, which is no leg of this record: {names}"
        told.append(Finding("leg-unknown", text))
    return told


def _strangers(
    facts: Mapping[str, LegFacts], names: tuple[str, ...], *, leans: bool
) -> list[Finding]:
    """Facts that are stated and judge nothing: of a name that is no leg, and of some legs only."""
    told = []
    for name in facts:
        if name not in names:
            text = f"facts are stated of {name!r}, which is no leg of this record: "
            told.append(Finding("leg-unknown", text + ", ".join(names)))
    if not leans and any(one.from_vertical_deg is not None for one in facts.values()):
        text = "angles are stated for some legs of this record only: the sum along the vertical "
        told.append(Finding("leg-unknown", text + "is not known, and the plain sum is too large"))
    return told


def _let_go_words(found: Legs) -> str:
    first = found.named(found.let_go_first or "")
    assert first is not None
    others = [leg for leg in found.legs if leg.break_time_s is None]
    after = f"; {', '.join(leg.name for leg in others)} went on" if others else ""
    return (
        f"{first.name!r} let go first, at {abs(first.break_force_n or 0.0):.0f} N and "
        f"{first.break_time_s:.4f} s{after}"
    )


def _unclear_words(found: Legs) -> str:
    gone = ", ".join(repr(leg.name) for leg in found.legs if leg.break_time_s is not None)
    apart_s, resolved_s = found.let_go_apart_s, found.let_go_resolved_s
    if apart_s is None or resolved_s is None:
        return f"{gone} let go, and not every leg is known: which was first is unclear"
    return (
        f"{gone} let go within {1e3 * apart_s:.2f} ms of each other, and {1e3 * resolved_s:.2f} ms "
        "are needed to tell them apart: which was first is unclear"
    )
