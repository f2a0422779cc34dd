"""Effort: how many articles and drops a statement about the part will take."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.qualification import NORMAL, STRENGTH, Qualification
from tautlog.errors import PlanError, StatementError
from tautlog.model.display_units import SI
from tautlog.planning.ladder import LADDER
from tautlog.planning.odds import Odds
from tautlog.planning.plan import plan
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
    articles, factor, text = _articles(asked, asked.reliability, asked.confidence)
    odds, why = _odds(campaign)
    steps = sum(share < 1.0 for share in LADDER)
    units = campaign.units if campaign else SI
    chance = None if odds is None else odds.chance.proves
    drops = None
    if odds is not None and chance is not None and chance >= LEAST_CHANCE:
        drops = steps + articles / chance
        told = (
            f"{math.ceil(drops)} drops are to be expected: {steps} below the full load, then "
            f"{articles} / {chance:.2f}, because one drop from "
            f"{units.text(odds.height_m, 'm', '.3f')} proves the "
            f"target with a chance of {chance:.2f}, if nothing is learned on the way; each "
            "repetition ages its article (`tautlog plan --odds` shows what to measure better)"
        )
    else:
        told = f"how many drops that takes is not known: {why or 'a drop hardly ever hits'}"
    agree = "agree on the numbers before the first drop: [qualification] in campaign.toml"
    return Effort(articles, factor, steps, chance, drops, (text, told, agree))


def _articles(
    asked: Qualification, reliability: float, confidence: float
) -> tuple[int, float | None, str]:
    """Articles, the factor of a strength, and both in words."""
    if asked.claim != STRENGTH:
        articles = articles_needed(reliability, confidence, asked.failures_allowed)
        return (
            articles,
            None,
            (
                f"{articles} articles, of which {asked.failures_allowed} may fail, show that "
                f"{100 * reliability:g} % of the parts stand the target, with {100 * confidence:g} "
                "% confidence"
            ),
        )
    articles = asked.articles or USUAL
    factor = one_sided_factor(articles, reliability, confidence)
    text = (
        f"{articles} articles until they break: the stated load lies {factor:.3f} standard "
        "deviations below the mean strength, if it is normal"
    )
    if asked.distribution != NORMAL:
        text += f"; weibull: at least {FEWEST_BREAKS} must break, the others may hold"
    return articles, factor, text


def _odds(campaign: Campaign | None) -> tuple[Odds | None, str]:
    """The odds of a drop at the full load, or why they are not known."""
    if campaign is None:
        return None, "there is no campaign here"
    try:
        return plan(campaign).odds(), ""
    except PlanError as problem:
        return None, str(problem)
