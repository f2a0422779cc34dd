"""Effort: how many articles and drops a statement about the part will take."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.qualification import NORMAL, STRENGTH, Qualification
from tautlog.errors import PlanError, StatementError
from tautlog.planning.chance import chance_of
from tautlog.planning.plan import Plan, plan
from tautlog.qualify.shares import articles_needed
from tautlog.qualify.tolerance import one_sided_factor
from tautlog.qualify.weibull import FEWEST_BREAKS

USUAL = 10  # articles for a strength, if nobody says how many; own choice
LEAST_CHANCE = 0.02  # below it a number of drops says nothing


@dataclass(frozen=True)
class Effort:
    """What a statement takes.

    Attributes
    ----------
    articles : int
        Articles to try.
    factor : float or None
        For a strength: standard deviations that the limit lies below the mean.
    ladder_drops : int
        Drops of the ladder below the full load, once.
    chance : float or None
        Chance that one drop at the full load proves the target; None if it cannot be reckoned.
    drops : float or None
        Drops to expect in all, ladder and repetitions included.
    lines : tuple of str
        The same in words.
    """

    articles: int
    factor: float | None
    ladder_drops: int
    chance: float | None
    drops: float | None
    lines: tuple[str, ...]


def effort_of(campaign: Campaign | None, asked: Qualification) -> Effort:
    """How many articles and drops a statement takes.

    A drop that misses is repeated: with a chance p of a proof, 1 / p drops are expected for each
    article (geometric distribution).

    Parameters
    ----------
    campaign : Campaign or None
        Gives the planned drop; without it, drops are not counted.
    asked : Qualification
        What is to be stated; its number of articles, or 0 to have it counted.

    Raises
    ------
    StatementError
        If reliability or confidence are missing.
    """
    if asked.reliability is None or asked.confidence is None:
        raise StatementError(
            "reliability and confidence are not known: give --reliability and --confidence, or "
            "state them under [qualification] in campaign.toml"
        )
    reliability, confidence = asked.reliability, asked.confidence
    factor = None
    if asked.claim == STRENGTH:
        articles = asked.articles or USUAL
        factor = one_sided_factor(articles, reliability, confidence)
        lines = [
            f"{articles} articles until they break: the stated load lies {factor:.3f} standard "
            "deviations below the mean strength, if it is normal"
        ]
        if asked.distribution != NORMAL:
            lines.append(f"weibull: at least {FEWEST_BREAKS} must break; articles may hold")
    else:
        articles = articles_needed(reliability, confidence, asked.failures_allowed)
        lines = [
            f"{articles} articles, of which {asked.failures_allowed} may fail, show that "
            f"{100 * reliability:g} % of the parts stand the target, with {100 * confidence:g} % "
            "confidence"
        ]
    planned, why = _planned(campaign)
    steps, chance = (0, None) if planned is None else _of_drops(planned)
    drops = None
    if chance is not None and chance >= LEAST_CHANCE:
        drops = steps + articles / chance
        lines.append(
            f"{math.ceil(drops)} drops are to be expected: {steps} below the full load, then "
            f"{articles} / {chance:.2f}, because one drop proves the target with a chance of "
            f"{chance:.2f} (`tautlog plan` shows how to raise it)"
        )
    else:
        lines.append(f"how many drops that takes is not known: {why or 'a drop hardly ever hits'}")
    lines.append("agree on the numbers before the first drop: [qualification] in campaign.toml")
    return Effort(articles, factor, steps, chance, drops, tuple(lines))


def _planned(campaign: Campaign | None) -> tuple[Plan | None, str]:
    if campaign is None:
        return None, "there is no campaign here"
    try:
        return plan(campaign), ""
    except PlanError as problem:
        return None, str(problem)


def _of_drops(planned: Plan) -> tuple[int, float | None]:
    """Steps of the ladder below the full load, and the chance that a drop there proves."""
    steps = sum(step.fraction < 1.0 for step in planned.ladder())
    if planned.aim is None or planned.target_n is None or planned.upper_n is None:
        return steps, None
    found = chance_of(planned.prediction, planned.target_n, planned.upper_n, planned.aim)
    return steps, found.proves
