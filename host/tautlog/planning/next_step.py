"""Next step: the drop that comes next, proposed from the ladder and from what was learned."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from tautlog.archive.catalogue import catalogued
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.counted import counted
from tautlog.errors import PlanError
from tautlog.planning.ladder import Step, climbed
from tautlog.planning.learning import Learned, advice
from tautlog.planning.lessons import learn_from
from tautlog.planning.lines import remembered_records
from tautlog.planning.plan import Plan


@dataclass(frozen=True)
class NextStep:
    """The proposed drop.

    Attributes
    ----------
    step : Step or None
        The lowest step of the ladder that this article has not climbed; None if all are done.
    go : bool
        Whether to go on.
    why : str
        Why, in words.
    learned : Learned or None
        What the line's drops teach; None if none teaches anything.
    """

    step: Step | None
    go: bool
    why: str
    learned: Learned | None


def next_step(campaign: Campaign, planned: Plan, steps: Sequence[Step], article: str) -> NextStep:
    """Propose the next drop.

    Parameters
    ----------
    campaign : Campaign
        Gives the records.
    planned, steps : Plan, sequence of Step
        The plan, and its ladder from the lowest step up.
    article : str
        Name of the article that climbs the ladder.
    """
    name = planned.drop.line.name
    peaks_n = valid_peaks_n(counted(campaign, catalogued(campaign.folder)), (article,))
    left = steps[climbed(steps, peaks_n) :]
    try:
        learned = learn_from(remembered_records(campaign.folder), name, campaign.line(name))
    except PlanError as problem:
        why = f"start at the foot of the ladder: {problem}"
        return NextStep(left[0] if left else None, True, why, None)
    go, why = advice(learned)
    return NextStep(left[0] if left else None, go, why, learned)


def valid_peaks_n(records: Sequence[RecordSummary], articles: Collection[str]) -> list[float]:
    """Peaks of the valid ones among drops that count, of some articles, by time of the drop."""
    return [
        abs(record.peak_force_n)
        for record in sorted(records, key=lambda record: record.utc)
        if record.article in articles
        and record.record_verdict == "valid"
        and record.peak_force_n is not None
    ]
