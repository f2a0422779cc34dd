"""Places: the records that a report is about, from files and folders."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from tautlog.archive.batch import records_in
from tautlog.archive.catalogue import catalogued
from tautlog.archive.summary import RecordSummary, summary_from
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.ledger import Exposure, exposures, read_entries, rehearsals
from tautlog.display.report.contents import Contents
from tautlog.display.report.gathering import contents_of
from tautlog.display.report.sources import read_sources
from tautlog.errors import RecordError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.display_units import SI, Units
from tautlog.qualify.statement import Statement, statement_of
from tautlog.record import Record, open_checked


@dataclass(frozen=True)
class Opened:
    """Records to report on, files that cannot be read, and rehearsals that are left out."""

    records: list[Record]
    unreadable: list[RecordSummary]
    left_out: list[Path]


def opened_at(asked: list[Path], *, rehearsed: bool) -> Opened:
    """Open the records to report on; of a campaign, the records that `tautlog list` shows.

    A rehearsal that was changed after its seal is not taken for a rehearsal: it stays in.

    Raises
    ------
    RecordError
        If there is nothing to report on.
    """
    records, unreadable, left_out = [], [], []
    for path in _files(asked):
        try:
            record, check = open_checked(path)
        except RecordError as problem:
            unreadable.append(RecordSummary(str(path), problem=str(problem)))
            continue
        if not rehearsed and summary_from(record, check).rehearsed:
            left_out.append(path)
        else:
            records.append(record)
    opened = Opened(records, unreadable, left_out)
    _refuse_nothing(opened, asked)
    return opened


def contents_at(
    opened: Opened,
    campaign: Campaign | None,
    folder: Path | None,
    cfc: int | None,
    units: Units = SI,
) -> Contents:
    """The contents of a report on opened records.

    Parameters
    ----------
    opened, campaign : Opened, Campaign or None
        The records, and the campaign whose folder holds them all.
    folder : Path or None
        Folder of the campaign, if the report is about all of it.
    cfc : int or None
        As for `assess`.
    units : Units
        Units of display.
    """
    campaign = None if campaign is None else replace(campaign, units=units)
    return contents_of(
        read_sources(opened.records, cfc, units),
        campaign=campaign,
        units=units,
        unreadable=opened.unreadable,
        folder=folder,
        exposed=_exposed(opened, campaign, whole=folder is not None),
        said=_said(campaign) if folder is not None else None,
    )


def _said(campaign: Campaign | None) -> Statement | None:
    """What is stated of the part, from all drops of the campaign; None if nothing is asked for."""
    if campaign is None or not campaign.qualification.asked:
        return None
    return statement_of(campaign, catalogued(campaign.folder))


def _files(asked: list[Path]) -> list[Path]:
    found = []
    for place in asked:
        if (place / CAMPAIGN_FILE).is_file():
            found += sorted(place.glob("*.h5"))
        else:
            found += records_in([place])
    return list(dict.fromkeys(found))


def _refuse_nothing(opened: Opened, asked: list[Path]) -> None:
    if opened.records:
        return
    if asked == opened.left_out:
        names = ", ".join(map(str, asked))
        what = "is a rehearsal" if len(asked) == 1 else "are rehearsals"
        raise RecordError(f"{names} {what} and left out: give --rehearsed for a report on it")
    only = "; rehearsals are left out: --rehearsed includes them" if opened.left_out else ""
    raise RecordError(f"no readable record in {', '.join(map(str, asked))}{only}")


def _exposed(opened: Opened, campaign: Campaign | None, *, whole: bool) -> list[Exposure]:
    """The ledger as `tautlog ledger` shows it; for single drops, only what concerns them."""
    mine = [summary_from(record) for record in opened.records]
    if campaign is None:
        return exposures([*mine, *opened.unreadable], [], []) + rehearsals(mine)
    mounts = [(mount.name, mount.proven_on) for mount in campaign.mounts]
    found = exposures(catalogued(campaign.folder), read_entries(campaign.folder), mounts)
    names = {("article", drop.article) for drop in mine} | {("line", drop.line) for drop in mine}
    return [
        exposure
        for exposure in found
        if whole or exposure.kind in ("mount", "file") or (exposure.kind, exposure.name) in names
    ] + rehearsals(mine)
