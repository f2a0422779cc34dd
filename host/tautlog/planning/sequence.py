"""Sequence: a campaign as steps in their order, and what must be true before each.

Chain, mount, ladder, qualification, loading to failure: the order is common practice, without a
source. Nothing here permits a drop: the gate does, and the people at the rig.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.bring_ups import real_proving_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.counted import counted
from tautlog.errors import PlanError
from tautlog.model.limits import GO_ON_WITHIN
from tautlog.model.proven_wiring import unproven
from tautlog.planning.day import OpenPoint, articles_of, open_points
from tautlog.planning.ladder import Step, climbed
from tautlog.planning.next_step import valid_peaks_n
from tautlog.planning.plan import Plan, plan
from tautlog.qualify.outcomes import UNTRIED
from tautlog.qualify.statement import Statement, statement_of

DONE, NEXT, LATER, FAILED = "done", "next", "later", "failed"
FULL = 1.0


@dataclass(frozen=True)
class Stage:
    """One step of the campaign.

    Attributes
    ----------
    name : str
        What is done in it.
    done : bool
        Nothing is left to do in it.
    text : str
        How far it is, in words.
    needs : tuple of str
        What must become true before it may be begun or gone on with; empty if nothing is known
        to stand in its way.
    failed : bool
        It cannot be done any more: the campaign has its answer.
    """

    name: str
    done: bool
    text: str
    needs: tuple[str, ...] = ()
    failed: bool = False


@dataclass(frozen=True)
class Course:
    """All steps of a campaign, in their order."""

    stages: tuple[Stage, ...]

    @property
    def next(self) -> Stage | None:
        """The step that comes next: the first that is not done; None if all are."""
        return next((stage for stage in self.stages if not stage.done), None)

    def state(self, stage: Stage) -> str:
        """`DONE`, `NEXT`, `LATER` or `FAILED`."""
        if stage.failed:
            return FAILED
        if stage.done:
            return DONE
        return NEXT if stage is self.next else LATER


def course_of(campaign: Campaign, records: Sequence[RecordSummary]) -> Course:
    """The steps of a campaign, as far as its records show them.

    Parameters
    ----------
    campaign : Campaign
        Gives mounts, chain, articles, requirement and what was agreed.
    records : sequence of RecordSummary
        All its records, by time of the drop.
    """
    points = open_points(campaign, records)
    planned, steps, why = _planned(campaign)
    before = _before(points, planned, why)
    asked = campaign.qualification
    said = statement_of(campaign, records) if asked.asked else None
    qualified = _qualification(campaign, records, said, before)
    ladder = _ladder(campaign, records, steps, before)
    if qualified.done and not ladder.done:
        text = f"{ladder.text}; the full load is answered without it"
        ladder = replace(ladder, done=True, text=text, needs=())
    stages = [_chain(campaign, points), _mounts(campaign, points), ladder, qualified]
    if asked.to_failure:
        stages.append(_to_failure(campaign, said, before))
    return Course(tuple(stages))


def _before(points: Sequence[OpenPoint], planned: Plan | None, why: str) -> tuple[str, ...]:
    """What must be closed before any drop: what stops, what drops left open, what is refused."""
    stops = [_words(one) for one in points if one.stops]
    left = [_words(one) for one in points if one.task == "drop" and not one.stops]
    found = [*stops, *left]
    if planned is not None:
        refused = [check.text for check in planned.checks if check.refuses]
        found += [text for text in refused if not _told(text, stops)]
    return (*found, why) if why else tuple(found)


def _words(point: OpenPoint) -> str:
    return f"{point.action}: {point.text}" if point.text else point.action


def _chain(campaign: Campaign, points: Sequence[OpenPoint]) -> Stage:
    """Calibration, and each wire tried by hand."""
    needs = [one.text for one in points if one.task == "calibrate"]
    wiring = unproven(real_proving_of(campaign))
    if wiring:
        needs.append(f"wiring: {wiring}")
    text = "not ready" if needs else "calibrated and brought up"
    return Stage("make the measuring chain ready", not needs, text, tuple(needs))


def _mounts(campaign: Campaign, points: Sequence[OpenPoint]) -> Stage:
    """Every mount pulled to its proof."""
    needs = tuple(_words(one) for one in points if one.task == "proof")
    number = len(campaign.mounts)
    if not number:
        needs = ("campaign.toml names no [[mount]]",)
    text = f"{number} mount{'' if number == 1 else 's'}, {len(needs) if number else 0} not proven"
    return Stage("pull the mounts to their proof", not needs, text, needs)


def _planned(campaign: Campaign) -> tuple[Plan | None, tuple[Step, ...], str]:
    """The planned drop and its ladder, and why one of them is lacking."""
    try:
        planned = plan(campaign)
    except PlanError as problem:
        return None, (), f"the next drop cannot be planned: {problem}"
    try:
        return planned, planned.ladder(), ""
    except PlanError as problem:
        return planned, (), f"the ladder cannot be climbed: {problem}"


def _told(text: str, others: Sequence[str]) -> bool:
    """Whether something is said already, perhaps with more words around it."""
    bare = text.removeprefix("calibration: ")
    return any(bare in other for other in others)


def _ladder(
    campaign: Campaign,
    records: Sequence[RecordSummary],
    steps: Sequence[Step],
    before: tuple[str, ...],
) -> Stage:
    """The steps below the full load, once for the version: each further drop ages an article."""
    names = {article.name for article in campaign.articles} or {campaign.setup.article}
    peaks_n, units = valid_peaks_n(counted(campaign, records), names), campaign.units
    highest_n = max(peaks_n, default=0.0)
    below = [step for step in steps if step.fraction < FULL]
    left = below[climbed(below, peaks_n) :]
    name = "climb the ladder below the full load"
    if not steps:
        return Stage(name, False, "it cannot be reckoned yet", before)
    if not left:
        return Stage(name, True, f"climbed, to {units.text(highest_n, 'N')}")
    step = left[0]
    text = (
        f"{len(below) - len(left)} of {len(below)} steps done; then {100 * step.fraction:.0f} %, "
        f"{units.text(step.prediction.peak_force_n, 'N')} from "
        f"{units.text(step.prediction.height_m, 'm', '.3f')}"
    )
    if highest_n > (1.0 + GO_ON_WITHIN) * step.prediction.peak_force_n:
        missing = ", ".join(f"{100 * one.fraction:.0f} %" for one in left)
        text += (
            f"; a drop of {units.text(highest_n, 'N')} was not climbed to and stands for none of "
            f"those that are missing: {missing}"
        )
    return Stage(name, False, text, before)


def _qualification(
    campaign: Campaign,
    records: Sequence[RecordSummary],
    said: Statement | None,
    before: tuple[str, ...],
) -> Stage:
    """The drops at the full load: for a statement about the part, else for each article."""
    name = "qualify at the full load"
    if said is not None:
        asked = campaign.qualification
        many = f" of {asked.articles}" if asked.articles else ""
        text = f"articles that count: {said.claim.n}{many}; of the part: {said.word}"
        broken = said.claim.shown_share is not None and (
            said.claim.failures > asked.failures_allowed
        )
        needs = () if said.made else (*said.why_not, *before)
        return Stage(name, said.made or broken, text, needs, failed=broken)
    states = articles_of(campaign, records)
    left = [one.name or "the article" for one in states if not one.done]
    failed = any("FAILED" in one.word for one in states)
    text = "; ".join(f"{one.name or 'the article'}: {one.word}" for one in states)
    done = bool(states) and not left
    return Stage(name, done, text or "no article is named", () if done else before, done and failed)


def _to_failure(campaign: Campaign, said: Statement | None, before: tuple[str, ...]) -> Stage:
    """Loading until it breaks, after the others: it shows how much is in reserve."""
    wanted = campaign.qualification.to_failure
    outcomes = () if said is None else said.outcomes
    broke = sum(one.broke_n is not None for one in outcomes)
    fresh = sum(one.result == UNTRIED and not one.drops for one in outcomes)
    needs = before
    if said is not None and not said.made:
        needs = ("the qualification is not finished", *before)
    text = f"broke at a known load: {broke} of {wanted}; articles without a drop: {fresh}"
    return Stage("load articles until they break", broke >= wanted, text, needs)
