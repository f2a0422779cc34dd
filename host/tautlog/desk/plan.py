"""Plan: what a drop will do, whether it hits, why it must not be done, and which comes next."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tautlog.campaign.campaign import Campaign
from tautlog.desk.fields import number_in, shown_in_field, typed_again, units_of_form
from tautlog.desk.page import desk_of, page, piece
from tautlog.desk.scale import Scale, scale_of
from tautlog.errors import TautlogError
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.planning.chance import Chance, chance_of
from tautlog.planning.ladder import HOLD, STOP_RULES, Step
from tautlog.planning.next_step import NextStep, next_step
from tautlog.planning.plan import Plan, plan
from tautlog.planning.plan_words import (
    FRICTION_UNKNOWN,
    drop_text,
    figure_rows,
    ladder_head,
    ladder_rows,
    odds_lines,
)
from tautlog.planning.wanted import Wanted

NUMBERS = {
    "mass_kg": q.MASS,
    "height_m": q.HEIGHT,
    "target_n": q.FORCE,
    "limit_n": q.FORCE,
    "stiffness_n_per_m": q.STIFFNESS,
}
NAMES = ("line", "article", "mount")
SOLVE = {"mass": "mass_kg", "height": "height_m"}


@dataclass(frozen=True)
class Reckoned:
    """A plan, ready to be shown.

    Attributes
    ----------
    planned : Plan
        The plan.
    text : str
        What falls.
    scale : Scale or None
        Its peak between target and limit.
    chance : Chance or None
        Chances of target and limit; None without a target.
    figures : tuple
        Name, value and remark of each figure.
    friction : str
        That the friction is not known, or "".
    """

    planned: Plan
    text: str
    scale: Scale | None
    chance: Chance | None
    figures: tuple[tuple[str, str, str], ...]
    friction: str

    @property
    def refusals(self) -> int:
        """How many checks refuse the drop."""
        return sum(check.refuses for check in self.planned.checks)


def show(request: Request) -> Response:
    """The page with sliders, plan, ladder and next step."""
    campaign, broken = desk_of(request).campaign_or_why()
    asked = dict(request.query_params)
    said, reckoned = broken, None
    if campaign is not None:
        reckoned, said = _reckoned_or_why(campaign, asked)
    return page(
        request,
        "plan.html",
        task="plan",
        asked=asked,
        reckoned=reckoned,
        why=said,
        sliders=_sliders(campaign, asked, reckoned),
        lines=[line.name for line in campaign.lines] if campaign else [],
        articles=[article.name for article in campaign.articles] if campaign else [],
        mounts=[mount.name for mount in campaign.mounts] if campaign else [],
        chosen=_chosen(campaign, asked),
        query=str(request.query_params),
    )


def reckon(request: Request) -> Response:
    """Only the plan, for the sliders: the part of the page that changes with them."""
    campaign, broken = desk_of(request).campaign_or_why()
    reckoned, said = (None, broken)
    if campaign is not None:
        reckoned, said = _reckoned_or_why(campaign, dict(request.query_params))
    return piece(request, "reckoned.html", reckoned=reckoned, why=said)


def climb(request: Request) -> Response:
    """The ladder and the proposed step: a part that takes longer, and does not keep others."""
    campaign, why = desk_of(request).campaign_or_why()
    units = campaign.units if campaign else SI
    steps: tuple[Step, ...] = ()
    odds: tuple[str, ...] = ()
    following: NextStep | None = None
    asked = dict(request.query_params)
    if campaign is not None:
        reckoned, why = _reckoned_or_why(campaign, asked)
        if reckoned is not None:
            steps, following, why = _climb(campaign, reckoned.planned, asked)
            odds = _odds(reckoned.planned)
    return piece(
        request,
        "climb.html",
        ladder_head=ladder_head(units),
        ladder=list(zip(steps, ladder_rows(steps, units), strict=True)),
        ladder_why=why,
        hold=HOLD,
        stop_rules=STOP_RULES,
        following=following,
        odds=odds,
        line=_chosen(campaign, asked)["line"],
    )


def _reckoned_or_why(campaign: Campaign, asked: Mapping[str, str]) -> tuple[Reckoned | None, str]:
    try:
        return _reckoned(plan(campaign, _wanted(asked))), ""
    except TautlogError as problem:
        return None, str(problem)


def _wanted(asked: Mapping[str, str]) -> Wanted:
    """What the page asks for; the value that is solved for is left out."""
    given: dict[str, Any] = {
        name: number_in(name, asked.get(name, ""), kind, units_of_form(asked))
        for name, kind in NUMBERS.items()
    }
    given |= {name: asked.get(name, "")[:200] for name in NAMES}
    solve = asked.get("solve", "")
    if solve in SOLVE:
        given |= {SOLVE[solve]: None, "solve": solve}
    return Wanted(**given)


def _reckoned(planned: Plan) -> Reckoned:
    predicted, aim = planned.prediction, planned.aim
    target_n, limit_n = planned.target_n, planned.upper_n
    chance = None
    if aim is not None and target_n is not None and limit_n is not None:
        chance = chance_of(predicted, target_n, limit_n, aim)
    return Reckoned(
        planned=planned,
        text=drop_text(planned),
        scale=scale_of(
            target_n,
            limit_n,
            predicted.peak_force_n,
            (predicted.peak_low_n, predicted.peak_high_n),
        ),
        chance=chance,
        figures=figure_rows(planned)[1:],
        friction=FRICTION_UNKNOWN if planned.drop.rails_n is None else "",
    )


def _odds(planned: Plan) -> tuple[str, ...]:
    """The height that makes a proof most likely, and what to measure better; or why not."""
    try:
        found = planned.odds()
    except TautlogError as problem:
        return (f"no height makes a proof likely: {problem}",)
    return odds_lines(found, planned.units) if found else ()


def _climb(
    campaign: Campaign, planned: Plan, asked: Mapping[str, str]
) -> tuple[tuple[Step, ...], NextStep | None, str]:
    """The ladder, the proposed step, and why there is none."""
    article = asked.get("article", "") or campaign.setup.article
    try:
        steps = planned.ladder()
        return steps, next_step(campaign, planned, steps, article), ""
    except TautlogError as problem:
        return (), None, str(problem)


@dataclass(frozen=True)
class Slider:
    """A number that can be slid: what stands in its field, where the slider is, ends and step."""

    name: str
    label: str
    unit: str
    typed: str
    at: str
    low: str
    high: str
    step: str


def _sliders(
    campaign: Campaign | None, asked: Mapping[str, str], reckoned: Reckoned | None
) -> list[Slider]:
    """Mass and height around the campaign's own, within what rig and rails allow."""
    if campaign is None:
        return []
    rig, setup = campaign.rig, campaign.setup
    drop = reckoned.planned.drop if reckoned else None
    mass = drop.mass_kg if drop else _typed(asked, "mass_kg") or setup.mass_kg
    height = drop.height_m if drop else _typed(asked, "height_m") or setup.height_m
    most_kg = rig.most_mass_kg or 2.0 * (setup.mass_kg or mass or 10.0)
    most_m = rig.rails_m or 2.0 * (setup.height_m or height or 1.0)
    units, top_m = campaign.units, max(most_m, height or 0.0)
    return [
        _slider(asked, "mass_kg", "mass", mass, (0.5, max(most_kg, mass or 0.0), 0.05), units),
        _slider(asked, "height_m", "height", height, (0.05, top_m, 0.005), units),
    ]


def _slider(
    asked: Mapping[str, str],
    name: str,
    label: str,
    value: float | None,
    reach: tuple[float, float, float],
    units: Units,
) -> Slider:
    """A slider from a lowest to a highest value by steps, in SI, in the units of display."""
    si = NUMBERS[name].unit
    low, high, step = reach
    unit, size = units.of(si)
    each = 10.0 ** math.floor(math.log10(step / size)) * (5.0 if unit == si else 1.0)
    ends = math.floor(low / size / each + 1e-9) * each, math.ceil(high / size / each - 1e-9) * each
    at = low if value is None else value
    return Slider(
        name,
        label,
        unit,
        typed_again(asked, name, si, units) or shown_in_field(value, si, units),
        f"{at / size:.6g}",
        *(f"{one:.6g}" for one in (*ends, each)),
    )


def _typed(asked: Mapping[str, str], name: str) -> float | None:
    try:
        return number_in(name, asked.get(name, ""), NUMBERS[name], units_of_form(asked))
    except TautlogError:
        return None


def _chosen(campaign: Campaign | None, asked: Mapping[str, str]) -> dict[str, str]:
    """Line, article and mount that are chosen."""
    setup = campaign.setup if campaign else None
    return {
        "line": asked.get("line", "") or (setup.line if setup else ""),
        "article": asked.get("article", "") or (setup.article if setup else ""),
        "mount": asked.get("mount", "") or (setup.mount if setup else ""),
        "solve": asked.get("solve", ""),
    }
