"""Lines: a line by its name, as a campaign knows it, for every prediction.

What the records show about a line overrides campaign.toml. Plan, gate, picture and report all
ask here, so that they agree.
"""

from __future__ import annotations

import os
from pathlib import Path

from tautlog.campaign.campaign import Campaign
from tautlog.errors import PlanError, RecordError
from tautlog.model.line import Line
from tautlog.planning.lessons import MOST_RECORDS, LineRecords, line_from, read_line_records

_remembered: list[tuple[object, LineRecords]] = []  # the newest reading of the newest folder


def remembered_records(folder: Path, *, most: int | None = MOST_RECORDS) -> LineRecords:
    """The records of `read_line_records`; read again only if a file has changed.

    As in the catalogue, a file with the same name, size and time is taken as unchanged: a page
    that plans at each movement of a slider must not open two hundred files each time.

    Raises
    ------
    RecordError
        If the folder cannot be read.
    """
    key = (str(folder), most, _stamps(folder))
    for known, records in tuple(_remembered):
        if known == key:
            return records
    records = read_line_records(folder, most=most)
    _remembered[:] = [(key, records)]
    return records


def _stamps(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Name, size and time of what the lessons of a folder come from."""
    found = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.endswith((".h5", ".jsonl")):
                    about = entry.stat(follow_symlinks=False)
                    found.append((entry.name, about.st_size, about.st_mtime_ns))
    except OSError:
        return ()
    return tuple(sorted(found))


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
                folder = self._campaign.folder
                self._records = remembered_records(folder, most=self._most)
            return line_from(
                self._records,
                name,
                known,
                before_utc=before_utc,
                friction_n=self._campaign.rig.friction_n,
            )
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
