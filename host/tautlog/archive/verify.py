"""Verify: whether records are unchanged since they were sealed, and none is missing.

A seal shows damage and honest mistakes. The chain of a campaign shows a record that was
removed or put in another's place. Neither is a signature.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tautlog.archive.batch import records_in
from tautlog.archive.catalogue import catalogued, summaries_of
from tautlog.archive.summary import RecordSummary
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.seal_version import ENTRIES_SEALED
from tautlog.record.seal_chain import FILE_NAME as CHAIN_NAME
from tautlog.record.seal_chain import ChainLink, check_lines


@dataclass(frozen=True)
class Checked:
    """The result for one record, or for one place in a chain.

    Attributes
    ----------
    path : Path
        The file.
    state : str
        "intact"; "unfinished", never sealed; "broken", changed since it was sealed;
        "unreadable"; "missing" or "swapped", by the chain; "unchained", sealed but not in the
        chain.
    text : str
        The difference, in plain words.
    """

    path: Path
    state: str
    text: str

    @property
    def differs(self) -> bool:
        """Whether something is wrong with it."""
        return self.state not in ("intact", "unfinished", "unchained")


def verify(places: list[Path], *, anew: bool = False, rehearsed: bool = False) -> list[Checked]:
    """Verify records and the chains of their campaigns.

    In a folder, a file is read again only if its SHA-256 is not in the folder's catalogue. A
    named record is always read.

    Parameters
    ----------
    places : list of Path
        Records, folders and folder trees.
    anew : bool
        Read every file, whatever its folder's catalogue says.
    rehearsed : bool
        Report intact rehearsals in folders, too. Changed ones are always reported.

    Raises
    ------
    RecordError
        If a place does not exist.
    """
    folders = {path.parent for place in places if place.is_dir() for path in records_in([place])}
    named = records_in([place for place in places if not place.is_dir()])
    campaigns = {folder for place in places if place.is_dir() for folder in _campaigns(place)}
    found = [check_record(summary) for summary in summaries_of(named)]
    for folder in sorted(folders | campaigns):
        if anew:
            records = list(summaries_of(sorted(folder.glob("*.h5"))))
        else:
            records = catalogued(folder, every_byte=True)
        records.sort(key=lambda record: record.name)
        found += [check_record(record) for record in records if rehearsed or not record.rehearsed]
        if folder in campaigns:
            found += check_chain(folder, records)
    return found


OLDER = "sealed by an older program, whose seals do not cover status, marks and decisions"
_UNCHAINED = (
    "is sealed but not in the chain of this campaign: it came from elsewhere, the chain could "
    "not be written, or its line was removed"
)


def _campaigns(place: Path) -> list[Path]:
    return [file.parent for file in place.rglob(CAMPAIGN_FILE)]


def check_record(record: RecordSummary) -> Checked:
    """Check the seal of one record."""
    if record.problem:
        return Checked(record.path, "unreadable", record.problem)
    if not record.seal and not record.differs and record.status == "recording":
        text = "was never finished: `tautlog recover` completes it"
        return Checked(record.path, "unfinished", text)
    if not record.seal:
        text = f"is {record.status} but has no seal: the seal was removed"
        return Checked(record.path, "broken", text)
    if record.differs:
        text = (
            f"changed since it was sealed: {record.differs} ({record.seal[:12]}..., now "
            f"{record.seal_now[:12]}...); keep it, and look for another copy"
        )
        return Checked(record.path, "broken", text)
    if record.edited:
        text = f"the seal holds, but entries were changed later: {record.edited}"
        return Checked(record.path, "broken", text)
    mark = f"{record.mark}: " if record.mark else ""
    older = f"; {OLDER}" if record.seal_version < ENTRIES_SEALED else ""
    return Checked(record.path, "intact", f"{mark}seal {record.seal[:12]}...{older}")


def check_chain(folder: Path, summaries: list[RecordSummary]) -> list[Checked]:
    """Compare a campaign's records with its chain.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    summaries : list of RecordSummary
        Its records, with the unreadable ones.
    """
    chain, problem = check_lines(folder)
    records = [record for record in summaries if not record.problem]
    found = []
    if problem and any(record.seal and not record.rehearsed for record in records):
        text = f"the chain of this campaign cannot show missing records: {problem}"
        found.append(Checked(folder / CHAIN_NAME, "missing", text))
    by_id = {record.record_id: record for record in records}
    names = {record.path.name for record in summaries}
    earlier = {""}
    for link in chain:
        found += _check_link(folder / link.name, link, by_id.get(link.record_id), names)
        # Any earlier line will do: another record may have been sealed while this one was made.
        if lost := {link.previous, link.after} - earlier:
            text = (
                f"the chain before it was changed: the line of the record sealed "
                f"{min(lost)[:12]}... is gone"
            )
            found.append(Checked(folder / link.name, "missing", text))
        earlier.add(link.seal)
    chained = {link.seal for link in chain}
    known = chained | {record.seal_now for record in records}
    return found + [wrong for record in records for wrong in _check_place(record, chained, known)]


def _check_link(
    path: Path, link: ChainLink, record: RecordSummary | None, names: set[str]
) -> list[Checked]:
    """Compare one line of a chain with the record it names and the files in the folder."""
    if record is None and link.name not in names:
        text = f"was sealed here ({link.seal[:12]}...) and is gone"
        return [Checked(path, "missing", text)]
    if record is None:
        text = f"is not the record that was sealed under this name ({link.record_id[:8]})"
        return [Checked(path, "swapped", text)]
    if record.seal_now != link.seal:
        return [Checked(record.path, "swapped", "its seal differs from that in the chain")]
    return []


def _check_place(record: RecordSummary, chained: set[str], known: set[str]) -> list[Checked]:
    """Check that the record before this one is known, and that the chain holds this one."""
    found = []
    previous = record.previous_seal
    if previous and previous not in known:
        text = f"the record sealed before it ({previous[:12]}...) is gone, and so is its line"
        found.append(Checked(record.path, "missing", text))
    if record.seal and not record.rehearsed and record.seal not in chained:
        found.append(Checked(record.path, "unchained", _UNCHAINED))
    return found
