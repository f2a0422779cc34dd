"""Stated deviations: what people stated of the drops of a report, and of their campaign."""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.deviations import Logged, read_log
from tautlog.campaign.people import APPROVER, Act, not_theirs
from tautlog.display.report.sources import Source


def stated_deviations(sources: Sequence[Source], campaign: Campaign | None) -> tuple[str, ...]:
    """Deviations in words, closed and corrected ones too.

    A report has those of its own drops and those of no single drop. Those of a rehearsal stand
    only in a report that shows it.

    Raises
    ------
    CampaignError
        If the log cannot be read: a report must not pass over a deviation.
    """
    if campaign is None:
        return ()
    shown = {source.record.record_id for source in sources}
    mine = [one for one in read_log(campaign.folder) if _belongs(one, shown, campaign)]
    acts = [Act(APPROVER, one.entry.agreed) for one in mine if one.entry]
    return (*(one.words for one in mine), *not_theirs(campaign.people, acts))


def _belongs(one: Logged, shown: set[str], campaign: Campaign) -> bool:
    """Whether it is about the drops that are shown, or about all."""
    made = one.entry
    if made is None or (not made.record and not made.rehearsed):
        return True
    if made.rehearsed and campaign.rehearsed and not made.record:
        return True
    return made.record_id in shown or (not made.record_id and not made.rehearsed)
