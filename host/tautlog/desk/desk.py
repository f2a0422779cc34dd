"""Desk: one campaign, open for the crew: its folder, its records, and who is writing."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.archive.assess import assess
from tautlog.archive.assessment import Assessment
from tautlog.archive.listing import records_in
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign, read_campaign, read_stated
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.feed import Feed
from tautlog.desk.looks import Looks
from tautlog.desk.orders import Orders
from tautlog.errors import CampaignError, RecordError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.display_units import SI, Units
from tautlog.model.origin import FOLDER
from tautlog.record import Record, open_record

if TYPE_CHECKING:
    from tautlog.rehearsal.practice import Practice

MOST_ASSESSED = 12


@dataclass(frozen=True)
class OpenedDrop:
    """A record that is shown, with its assessment."""

    record: Record
    drop: Assessment

    def shown_in(self, units: Units) -> OpenedDrop:
        """The same in units of display."""
        return replace(self, drop=replace(self.drop, units=units))


@dataclass
class Desk:
    """A campaign on the desk.

    Attributes
    ----------
    folder : Path
        The campaign's folder.
    writing : threading.Lock
        Held while something is entered: one thing at a time.
    feed : Feed
        What happens, for all open pages.
    trace : DropTrace
        Samples of the drop that is under way.
    orders : Orders
        What the crew asks it to do with the board.
    practice : Practice or None
        The rehearsed rig, if it practises.
    looks : Looks
        What was doubtful about the newest entries.
    """

    folder: Path
    writing: threading.Lock = field(default_factory=threading.Lock)
    feed: Feed = field(default_factory=Feed)
    orders: Orders = field(init=False)
    trace: DropTrace = field(init=False)
    practice: Practice | None = None
    looks: Looks = field(default_factory=Looks)
    _assessed: OrderedDict[tuple[str, int, int], OpenedDrop] = field(default_factory=OrderedDict)
    _cache: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.orders = Orders(self.feed)
        self.trace = DropTrace(self.feed)

    def campaign(self) -> Campaign:
        """The campaign as it stands.

        Raises
        ------
        CampaignError
            With every mistake in its file.
        """
        return read_campaign(self.folder, to_drop=False)

    def campaign_or_why(self) -> tuple[Campaign | None, str]:
        """The campaign, or None and why it cannot be read."""
        try:
            return self.campaign(), ""
        except CampaignError as problem:
            return None, str(problem)

    @property
    def units(self) -> Units:
        """Units in which pages show; SI if campaign.toml cannot be read."""
        try:
            return read_stated(self.folder / CAMPAIGN_FILE).display.units
        except CampaignError:
            return SI

    def records(self, *, rehearsed: bool = True) -> list[RecordSummary]:
        """Its records, with those in its folder of rehearsals."""
        return records_in(self.folder, rehearsed=rehearsed)

    def record_path(self, name: str) -> Path:
        """The file of a record, by its name as `address` gives it.

        Only names that the campaign's list has lead to a file.

        Raises
        ------
        RecordError
            If there is none.
        """
        for record in self.records():
            if self.address(record) == name:
                return record.path
        raise RecordError(f"there is no record {name!r} in this campaign")

    def address(self, record: RecordSummary) -> str:
        """Name of a record in an address: that of its file; rehearsals have one of their own."""
        return address_of(record.path, self.folder)

    def opened(self, name: str) -> OpenedDrop:
        """A record with its assessment, by its name.

        Raises
        ------
        RecordError
            If there is none, or it cannot be read.
        """
        path = self.record_path(name)
        try:
            found = path.stat()
        except OSError as problem:
            raise RecordError(f"{path} cannot be read: {problem.strerror}") from problem
        key = (str(path), found.st_mtime_ns, found.st_size)
        with self._cache:
            known = self._assessed.get(key)
            if known is not None:
                self._assessed.move_to_end(key)
        if known is not None:
            return known.shown_in(self.units)
        record = open_record(path, patient=False)
        # With the prediction that was kept; in SI, whatever campaign.toml states at that time.
        opened = OpenedDrop(record, assess(record))
        with self._cache:
            self._assessed[key] = opened
            while len(self._assessed) > MOST_ASSESSED:
                self._assessed.popitem(last=False)
        return opened.shown_in(self.units)


def address_of(path: Path, folder: Path) -> str:
    """Name of a record in an address."""
    apart = path.parent.name == FOLDER and path.parent != folder
    return f"{FOLDER}:{path.stem}" if apart else path.stem
