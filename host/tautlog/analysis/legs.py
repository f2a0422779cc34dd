"""Legs: each leg of a bridle marked like any force, and how the legs shared the drop."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np

from tautlog.analysis.find_contacts import rise_through
from tautlog.analysis.marking import mark
from tautlog.model.legs import SUM, Leg, Legs
from tautlog.model.limits import K_FACTOR, ONSET_U_S
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.uncertainty import rectangular

# Shares of a leg's peak between which its onset is read a second time; its own are 2 and 6 %.
SECOND_LOW, SECOND_HIGH = 0.06, 0.18
# A straight line through a third and a whole of a level, extended to zero: t1 - (t2 - t1) / 2. Its
# variance is 1.5^2 + 0.5^2 times that of one crossing.
EXTENDED_U = math.sqrt(2.5)
LET_GO_APART_S = 0.001  # breaks that are closer together cannot be told apart; own choice
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
    told = [
        Leg(name, calibrated=False)
        if trace is None
        else _leg(name, trace, mark(trace, alone, cfc=cfc, zero=zero))
        for name, trace in legs.items()
    ]
    if all(leg.calibrated for leg in told) and whole.peak_time_s is not None:
        told = _shared(told, dict(legs), whole.peak_time_s)
    found = Legs(
        tuple(told),
        judged_on=setup.judged_on or SUM,
        sum_peak_force_n=whole.peak_force_n,
        sum_peak_force_expanded_u_n=whole.peak_force_expanded_u_n,
        let_go_first=_let_go_first(told),
    )
    found = _with_onsets(found, whole.taut_speed_m_s)
    return replace(found, findings=tuple(_findings(found)))


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
    peak = round(marks.peak_time_s * rate)
    start = max(0, int((onset_s - LOOK_BACK_S) * rate))
    low, high = (
        rise_through(pull, share * abs(peak_n), start, peak) for share in (SECOND_LOW, SECOND_HIGH)
    )
    if low is None or high is None or high <= low:
        return None
    slope = (SECOND_HIGH - SECOND_LOW) * abs(peak_n) * rate / (high - low)
    second_s = (low - 0.5 * (high - low)) / rate
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


def _let_go_first(legs: list[Leg]) -> str | None:
    """The leg whose load went first, if the traces tell."""
    gone = sorted((leg for leg in legs if leg.break_time_s is not None), key=_break_s)
    if not gone or not all(leg.calibrated for leg in legs):
        return None
    if any(_break_s(after) - _break_s(before) < LET_GO_APART_S for before, after in pairwise(gone)):
        return None
    return gone[0].name


def _break_s(leg: Leg) -> float:
    return math.inf if leg.break_time_s is None else leg.break_time_s


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
    if found.judged_on != SUM and found.named(found.judged_on) is None:
        names = ", ".join(leg.name for leg in found.legs)
        text = f"the test is judged on {found.judged_on!r}, which is no leg of this record: {names}"
        told.append(Finding("leg-unknown", text))
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
