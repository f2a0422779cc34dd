"""Claims: what the outcomes of articles show, of a load or of a strength, or why they do not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.campaign.qualification import NORMAL, STRENGTH, Qualification
from tautlog.errors import StatementError
from tautlog.model.display_units import SI, Units
from tautlog.qualify.outcomes import BROKE, STOOD, Outcome
from tautlog.qualify.shares import articles_needed, lower_share
from tautlog.qualify.tolerance import FEWEST, normal_lower_limit
from tautlog.qualify.weibull import FEWEST_BREAKS, weibull_lower_limit

_BINOMIAL = "one-sided binomial bound (Clopper and Pearson 1934); without a failure, R**n = 1 - C"
_METHODS = {
    NORMAL: "one-sided tolerance limit of a normal distribution (NIST/SEMATECH 7.2.6.3)",
    "weibull": "lower limit of a Weibull distribution, articles that held as suspended results",
}


@dataclass(frozen=True)
class Claim:
    """What is claimed of the parts, and what it rests on.

    Attributes
    ----------
    text : str
        The claim in words, whether it is shown or not.
    method : str
        How it was reckoned, with its source.
    successes, failures : int
        Articles that count: those that stood and those that broke. For a strength, those that
        held and those that broke.
    shown_share : float or None
        Share that these articles show to stand the target, at the same confidence.
    load_n : float or None
        Load that is claimed.
    assumptions, why_not : tuple of str
        What must be true for it; why it is not shown.
    """

    text: str
    method: str
    successes: int
    failures: int
    shown_share: float | None
    load_n: float | None
    assumptions: tuple[str, ...]
    why_not: tuple[str, ...]

    @property
    def n(self) -> int:
        """Articles that count."""
        return self.successes + self.failures


def claim_of(
    asked: Qualification,
    version: str,
    outcomes: Sequence[Outcome],
    target_n: float | None,
    units: Units = SI,
) -> Claim:
    """The claim that was asked for, with its loads in some units."""
    if asked.claim == STRENGTH:
        return _strength(asked, version, outcomes, units)
    return _stands(asked, version, outcomes, target_n, units)


def _stands(
    asked: Qualification,
    version: str,
    outcomes: Sequence[Outcome],
    target_n: float | None,
    units: Units,
) -> Claim:
    """That a share of the parts stands the target."""
    share, confidence = _asked(asked)
    stood = sum(one.result == STOOD for one in outcomes)
    broke = sum(one.result == BROKE for one in outcomes)
    n, allowed = stood + broke, asked.failures_allowed
    planned = asked.articles or articles_needed(share, confidence, allowed)
    load = "a load that is not stated" if target_n is None else units.text(target_n, "N")
    why_not = []
    if target_n is None:
        why_not.append("no target is stated")
    needed = articles_needed(share, confidence, allowed)
    if planned < needed:
        why_not.append(
            f"{planned} articles with {allowed} failures allowed could never show it: {needed} "
            "are needed"
        )
    if broke > allowed:
        why_not.append(
            f"{broke} of {n} articles broke, {allowed} were allowed: with more articles after a "
            "break the confidence no longer holds; begin anew with numbers agreed beforehand"
        )
    if n < planned:
        why_not.append(f"only {n} of the {planned} articles to be tried count")
    return Claim(
        text=(
            f"At least {_percent(share)} of the parts{_of(version)} stand {load}, with "
            f"{_percent(confidence)} confidence: {stood} of {n} articles stood it"
        ),
        method=_BINOMIAL,
        successes=stood,
        failures=broke,
        shown_share=lower_share(stood, n, confidence) if n else None,
        load_n=target_n,
        assumptions=("one article's outcome says nothing about another's",),
        why_not=tuple(why_not),
    )


def _strength(
    asked: Qualification, version: str, outcomes: Sequence[Outcome], units: Units
) -> Claim:
    """The load that a share of the parts stands."""
    ends = [one for one in outcomes if one.broke_n is not None]
    held = [
        one for one in outcomes if one.result != BROKE and one.broke_n is None and one.carried_n
    ]
    why_not = _too_few(asked, outcomes, len(ends), len(held))
    load_n = None
    if not why_not:
        load_n, problem = _limit_n(asked, ends, held)
        why_not += [problem] if problem else []
    load = "a load not known yet" if load_n is None else units.text(load_n, "N")
    return Claim(
        text=(
            f"At least {_percent(asked.reliability)} of the parts{_of(version)} stand {load}, with "
            f"{_percent(asked.confidence)} confidence: {len(ends)} articles broke, {len(held)} held"
        ),
        method=_METHODS[asked.distribution],
        successes=len(held),
        failures=len(ends),
        shown_share=None,
        load_n=load_n,
        assumptions=(
            f"strength follows a {asked.distribution} distribution",
            "an article broke at the force of its first damage, at the first such load",
            "the largest expanded uncertainty of the forces is taken off the limit",
        ),
        why_not=tuple(why_not),
    )


def _too_few(asked: Qualification, outcomes: Sequence[Outcome], ends: int, held: int) -> list[str]:
    """Why these articles cannot give a strength."""
    found = []
    lost = [one.article for one in outcomes if one.result == BROKE and one.broke_n is None]
    if lost:
        found.append(f"at which load they broke is not known: {', '.join(lost)}")
    if ends + held < asked.articles:
        found.append(f"only {ends + held} of the {asked.articles} articles to be tried count")
    if asked.distribution == NORMAL and held:
        found.append(
            f"{held} articles held: a normal distribution needs all to break; weibull does not"
        )
    fewest = FEWEST if asked.distribution == NORMAL else FEWEST_BREAKS
    if ends < fewest:
        found.append(f"{ends} articles broke at a known load, {fewest} are the fewest")
    return found


def _limit_n(
    asked: Qualification, ends: Sequence[Outcome], held: Sequence[Outcome]
) -> tuple[float | None, str]:
    """The lower limit of strength, rounded down to a newton; or why there is none."""
    share, confidence = _asked(asked)
    broke_n = [float(one.broke_n or 0.0) for one in ends]
    try:
        if asked.distribution == NORMAL:
            limit_n = normal_lower_limit(broke_n, share, confidence)
        else:
            held_n = [float(one.carried_n or 0.0) for one in held]
            limit_n = weibull_lower_limit(broke_n, held_n, share, confidence)
    except StatementError as problem:
        return None, str(problem)
    limit_n *= 1.0 - max(one.u_fraction for one in (*ends, *held))
    if limit_n < 1.0:
        return None, "the strengths scatter so widely that the limit is no load at all"
    return float(math.floor(limit_n)), ""


def _of(version: str) -> str:
    return f" of version {version}" if version else ""


def _asked(asked: Qualification) -> tuple[float, float]:
    """Reliability and confidence; `statement_of` has seen that both are stated."""
    return float(asked.reliability or 0.0), float(asked.confidence or 0.0)


def _percent(share: float | None) -> str:
    return f"{100 * (share or 0.0):.6g} %"
