"""Verify: whether records are what they were when they were sealed, and none is missing.

A seal shows damage and honest mistakes; the chain of a campaign shows a record that was
taken away or put in another's place. Neither is a signature.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tautlog.archive.batch import records_in
from tautlog.archive.catalogue import catalogued, summaries_of
from tautlog.archive.summary import RecordSummary
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.record.seal_chain import FILE_NAME as CHAIN_NAME
from tautlog.record.seal_chain import ChainLink, chain_told
from tautlog.record.seal_version import ENTRIES_SEALED


@dataclass(frozen=True)
class Checked:
    """What was found of one record, or of one place in a chain.

    Attributes
    ----------
    path : Path
        The file.
    state : str
        "intact"; "unfinished", never sealed; "broken", not what was sealed; "unreadable";
        "missing" or "swapped", by the chain; "unchained", sealed but in no line of it.
    text : str
        What differs, in plain words.
    """

    path: Path
    state: str
    text: str

    @property
    def differs(self) -> bool:
        """Whether it is not as it should be."""
        return self.state not in ("intact", "unfinished", "unchained")


def verify(places: list[Path], *, anew: bool = False, rehearsed: bool = False) -> list[Checked]:
    """Verify records and the chains of the campaigns that they lie in.

    In a folder, a file whose bytes are, to their SHA-256, those that were looked into
    before is what it was then. A record that is named is always looked into.

    Parameters
    ----------
    places : list of Path
        Records, folders, trees.
    anew : bool
        Look into every file, whatever its folder's catalogue says.
    rehearsed : bool
        Tell of intact rehearsals in folders, too. One that was changed is always told of.

    Raises
    ------
    RecordError
        If a place does not exist.
    """
    folders = {path.parent for place in places if place.is_dir() for path in records_in([place])}
    named = records_in([place for place in places if not place.is_dir()])
    campaigns = {one for place in places if place.is_dir() for one in _campaigns(place)}
    found = [check_record(one) for one in summaries_of(named)]
    for folder in sorted(folders | campaigns):
        if anew:
            there = list(summaries_of(sorted(folder.glob("*.h5"))))
        else:
            there = catalogued(folder, every_byte=True)
        there.sort(key=lambda one: one.name)
        found += [check_record(one) for one in there if rehearsed or not one.rehearsed]
        if folder in campaigns:
            found += check_chain(folder, there)
    return found


OLDER = "sealed by an older program, whose seals leave out status, marks and decisions"
_UNCHAINED = (
    "is sealed and stands in no line of the chain here: it came from elsewhere, the chain could "
    "not be written, or the line was taken away"
)


def _campaigns(place: Path) -> list[Path]:
    return [one.parent for one in place.rglob(CAMPAIGN_FILE)]


def check_record(one: RecordSummary) -> Checked:
    """What the seal of one record says."""
    if one.problem:
        return Checked(one.path, "unreadable", one.problem)
    if not one.seal and not one.differs and one.status == "recording":
        text = "was never finished: `tautlog recover` completes it"
        return Checked(one.path, "unfinished", text)
    if not one.seal:
        text = f"is {one.status} and carries no seal: it was taken away"
        return Checked(one.path, "broken", text)
    if one.differs:
        text = (
            f"not what was sealed: {one.differs} ({one.seal[:12]}..., now {one.seal_now[:12]}...); "
            "keep it, and look for another copy"
        )
        return Checked(one.path, "broken", text)
    if one.edited:
        text = f"the seal holds, but not what was entered later: {one.edited}"
        return Checked(one.path, "broken", text)
    mark = f"{one.mark}: " if one.mark else ""
    older = f"; {OLDER}" if one.seal_version < ENTRIES_SEALED else ""
    return Checked(one.path, "intact", f"{mark}seal {one.seal[:12]}...{older}")


def check_chain(folder: Path, there: list[RecordSummary]) -> list[Checked]:
    """Hold a campaign's records against its chain.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    there : list of RecordSummary
        All that lies there, with the unreadable.
    """
    chain, problem = chain_told(folder)
    records = [one for one in there if not one.problem]
    found = []
    if problem and any(one.seal and not one.rehearsed for one in records):
        text = f"the chain of this campaign tells nothing of what is gone: {problem}"
        found.append(Checked(folder / CHAIN_NAME, "missing", text))
    by_id = {one.record_id: one for one in records}
    names = {one.path.name for one in there}
    earlier = {""}
    for link in chain:
        found += _check_link(folder / link.name, link, by_id.get(link.record_id), names)
        # Not the line before it: another record may have been sealed while this one was made.
        if lost := {link.previous, link.after} - earlier:
            text = (
                f"the chain before it was changed: the record sealed {min(lost)[:12]}... stood "
                "there and is gone from it"
            )
            found.append(Checked(folder / link.name, "missing", text))
        earlier.add(link.seal)
    chained = {link.seal for link in chain}
    known = chained | {one.seal_now for one in records}
    return found + [problem for one in records for problem in _check_place(one, chained, known)]


def _check_link(
    path: Path, link: ChainLink, record: RecordSummary | None, names: set[str]
) -> list[Checked]:
    """Hold one line of a chain against the record that it names, and the files that are there."""
    if record is None and link.name not in names:
        text = f"was sealed here ({link.seal[:12]}...) and is gone"
        return [Checked(path, "missing", text)]
    if record is None:
        text = f"is another record than the one sealed under this name ({link.record_id[:8]})"
        return [Checked(path, "swapped", text)]
    if record.seal_now != link.seal:
        return [Checked(record.path, "swapped", "its seal is not the one in the chain")]
    return []


def _check_place(record: RecordSummary, chained: set[str], known: set[str]) -> list[Checked]:
    """Whether the record before this one is known, and this one stands in the chain."""
    found = []
    previous = record.previous_seal
    if previous and previous not in known:
        text = f"the record sealed before it ({previous[:12]}...) is gone, also from the chain"
        found.append(Checked(record.path, "missing", text))
    if record.seal and not record.rehearsed and record.seal not in chained:
        found.append(Checked(record.path, "unchained", _UNCHAINED))
    return found
