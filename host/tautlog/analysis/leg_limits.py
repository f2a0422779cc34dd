"""Leg limits: each leg held against a target and a limit of its own.

A leg may be overloaded while the sum stays below its limit: the others pulled less.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from tautlog.analysis.judge_load import judge_limit, judge_load
from tautlog.model.leg_facts import LegFacts
from tautlog.model.legs import Leg, Legs
from tautlog.model.marks import Finding, Marks
from tautlog.model.shown import shown_force
from tautlog.model.trace import DropSetup

OVER, PERHAPS_OVER = "leg-overload", "leg-possible-overload"
UNDER, UNPROVEN = "leg-under", "leg-unproven"
_CODES = {
    "overload": OVER,
    "possible-overload": PERHAPS_OVER,
    "under": UNDER,
    "no-load": UNDER,
    "unproven": UNPROVEN,
    # A lower bound excludes no overload; that it lies above a limit, `_worded` sees.
    "at-least": PERHAPS_OVER,
}


def judge_leg(leg: Leg, facts: LegFacts) -> Leg:
    """The leg with what is asked of it, and the load that it reached."""
    stated = replace(leg, target_n=facts.target_n, limit_n=facts.limit_n)
    if not facts.limited:
        return stated
    return replace(stated, load_verdict=_verdict(stated)[0])


def limit_findings(found: Legs) -> Iterator[Finding]:
    """What people and the verdict must know of legs with limits or targets of their own."""
    for leg in found.legs:
        if leg.target_n is None and leg.limit_n is None:
            continue
        word, text = _verdict(leg)
        code = _CODES.get(word)
        if word == "no-load" and leg.target_n is None:
            continue  # no pull is below any limit
        if code is not None:
            yield Finding(code, f"{leg.name!r}: {text}")


def _verdict(leg: Leg) -> tuple[str, str]:
    """The load that a leg reached, and the words for it."""
    if leg.marks is None:
        return "at-least", "its force is not known, an overload is not excluded"
    setup = DropSetup(target_n=leg.target_n, limit_n=leg.limit_n)
    limit_n = setup.upper_n
    if leg.target_n is None and limit_n is not None:
        told, why = judge_limit(leg.marks, limit_n)
        return told, why.text
    word, reason = judge_load(leg.marks, setup)
    if word == "at-least" and limit_n is not None and _surely_over(leg.marks, limit_n):
        peak_n, spread_n = leg.marks.peak_force_n or 0.0, leg.marks.peak_force_expanded_u_n
        limit = shown_force(peak_n, spread_n, (limit_n,)).level()
        return "overload", f"{reason.text}: above the limit of {limit}"
    return word or "at-least", reason.text


def _surely_over(marks: Marks, limit_n: float) -> bool:
    """Whether a lower bound lies above a limit already."""
    peak_n, spread_n = marks.peak_force_n, marks.peak_force_expanded_u_n
    return peak_n is not None and spread_n is not None and abs(peak_n) - spread_n > limit_n
