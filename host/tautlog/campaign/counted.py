"""Counted: the drops of a campaign that count for what comes next in it."""

from __future__ import annotations

from collections.abc import Iterable

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign


def counted(campaign: Campaign, records: Iterable[RecordSummary]) -> list[RecordSummary]:
    """Readable drops that were released, rehearsals only in a campaign to practise with.

    There people must see how a day goes on. All that is said of it bears the mark, and nothing
    of it is evidence: no statement about a part is made there (`qualify.statement`).
    """
    return [one for one in records if one.on_rig or (campaign.rehearsed and one.dropped)]
