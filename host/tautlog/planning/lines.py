"""Lines: the line of a name as a campaign knows it; whoever predicts a drop asks here.

What the records say of a line goes before what campaign.toml says. Plan, gate, picture and
report ask the same, so that a drop is predicted once.
"""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.errors import PlanError, RecordError
from tautlog.model.line import Line
from tautlog.planning.lessons import MOST_RECORDS, LineRecords, line_from, read_line_records


class Lines:
    """The lines of one campaign; its records are read once, when the first line is asked for.

    Parameters
    ----------
    campaign : Campaign
        Whose lines and records.
    most : int or None
        So many of the newest records are read; None for all, for questions about the past.
    """

    def __init__(self, campaign: Campaign, *, most: int | None = MOST_RECORDS) -> None:
        self._campaign = campaign
        self._most = most
        self._told: LineRecords | None = None

    def line(self, name: str, *, before_utc: str = "") -> Line | None:
        """The line of a name, or None where nothing tells its stiffness.

        Parameters
        ----------
        name : str
            As in campaign.toml and records; "" is no line.
        before_utc : str
            Only drops before this moment are learned from: what was known of the line when
            that drop was planned. "" for all.
        """
        if not name:
            return None
        known = self._campaign.line(name)
        try:
            if self._told is None:
                self._told = read_line_records(self._campaign.folder, most=self._most)
            return line_from(self._told, name, known, before_utc=before_utc)
        except (PlanError, RecordError):
            return known

    @property
    def names(self) -> tuple[str, ...]:
        """Names that campaign.toml gives."""
        return tuple(line.name for line in self._campaign.lines)


def line_for(campaign: Campaign, name: str, *, before_utc: str = "") -> Line | None:
    """The line of a name, as `Lines.line` tells it; for a single question."""
    most = None if before_utc else MOST_RECORDS
    return Lines(campaign, most=most).line(name, before_utc=before_utc)
