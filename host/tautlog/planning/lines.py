"""Lines: a line by its name, as a campaign knows it, for every prediction.

What the records show about a line overrides campaign.toml. Plan, gate, picture and report all
ask here, so that they agree.
"""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.errors import PlanError, RecordError
from tautlog.model.line import Line
from tautlog.planning.lessons import MOST_RECORDS, LineRecords, line_from, read_line_records


class Lines:
    """The lines of one campaign; its records are read once, on the first request.

    Parameters
    ----------
    campaign : Campaign
        Gives lines and records.
    most : int or None
        How many of the newest records to read; None for all, for questions about the past.
    """

    def __init__(self, campaign: Campaign, *, most: int | None = MOST_RECORDS) -> None:
        self._campaign = campaign
        self._most = most
        self._records: LineRecords | None = None

    def line(self, name: str, *, before_utc: str = "") -> Line | None:
        """The line of this name, or None if its stiffness is not known.

        Parameters
        ----------
        name : str
            Name in campaign.toml and records; "" for no line.
        before_utc : str
            Only drops before this time count, as when a drop at that time was planned. "" for
            all.
        """
        if not name:
            return None
        known = self._campaign.line(name)
        try:
            if self._records is None:
                self._records = read_line_records(self._campaign.folder, most=self._most)
            return line_from(self._records, name, known, before_utc=before_utc)
        except (PlanError, RecordError):
            return known

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the lines in campaign.toml."""
        return tuple(line.name for line in self._campaign.lines)


def line_for(campaign: Campaign, name: str, *, before_utc: str = "") -> Line | None:
    """The line of this name by `Lines.line`; for a single request."""
    most = None if before_utc else MOST_RECORDS
    return Lines(campaign, most=most).line(name, before_utc=before_utc)
