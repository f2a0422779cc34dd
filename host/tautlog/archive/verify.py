"""Verify: whether what a campaign keeps is unchanged, and nothing is missing.

A seal shows damage and honest mistakes. The chain of a campaign shows what was removed, put in or
put in another's place. Neither is a signature: only a head of the chain that was kept elsewhere
shows that its end was cut off, or that all of it was written anew.
"""

from __future__ import annotations

import os
from pathlib import Path

from tautlog.archive.batch import records_in
from tautlog.archive.catalogue import catalogued, summaries_of
from tautlog.archive.chain_check import check_chain, check_place
from tautlog.archive.checked import Checked
from tautlog.archive.signed_heads import check_key, check_signed_heads
from tautlog.archive.summary import RecordSummary
from tautlog.errors import RecordError
from tautlog.files.campaign_folder import CAMPAIGN_FILE, CHAIN_FILE, TRACES
from tautlog.files.chain import HEAD_DIGITS, head_of, read_chain
from tautlog.model.seal_version import ENTRIES_SEALED


def verify(
    places: list[Path],
    *,
    anew: bool = False,
    rehearsed: bool = False,
    head: str = "",
    key: bytes = b"",
) -> list[Checked]:
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
    head : str
        The head of a chain that was kept elsewhere, or its first digits; "" if none was.

    key : bytes
        A public key by which the chain of every campaign must be signed; empty if none is known.

    Raises
    ------
    RecordError
        If a place does not exist, or `head` is none.
    SignatureError
        If `key` is given, and signatures cannot be checked here.
    """
    folders = {path.parent for place in places if place.is_dir() for path in records_in([place])}
    named = records_in([place for place in places if not place.is_dir()])
    campaigns = {folder for place in places if place.is_dir() for folder in _campaigns(place)}
    found = []
    for summary in summaries_of(named):
        found.append(check_record(summary))
        chain = read_chain(summary.path.parent)
        found += check_place(summary, chain) if chain.begun else ()
    for folder in sorted(folders | campaigns):
        records = _records(folder, anew)
        found += [check_record(record) for record in records if rehearsed or not record.rehearsed]
        if folder in campaigns:
            found += check_chain(folder, records)
            found += check_signed_heads(folder)
    found += _check_key(key, _homes_of(places)) if key else []
    return found + (_check_head(head, _homes_of(places)) if head else [])


def _records(folder: Path, anew: bool) -> list[RecordSummary]:
    """The records of a folder by name; of the catalogue, if they need not be read anew."""
    if anew:
        records = list(summaries_of(sorted(folder.glob("*.h5"))))
    else:
        records = catalogued(folder, every_byte=True)
    return sorted(records, key=lambda record: record.name)


OLDER = "sealed by an older program, whose seals do not cover status, marks and decisions"


def heads_of(places: list[Path]) -> dict[Path, str]:
    """The head of the chain of every campaign in folder trees."""
    folders = [folder for place in places if place.is_dir() for folder in _campaigns(place)]
    heads = {folder: head_of(folder) for folder in sorted(set(folders))}
    return {folder: head for folder, head in heads.items() if head}


def _homes_of(places: list[Path]) -> list[Path]:
    """Folders of all campaigns in folder trees, and of those that named records lie in."""
    folders = {place.parent for place in places if not place.is_dir()}
    folders |= {folder for place in places if place.is_dir() for folder in _campaigns(place)}
    return sorted(folders)


def _campaigns(place: Path) -> list[Path]:
    """Folders of a tree that are, or were, a campaign's."""
    marks = {CAMPAIGN_FILE, *TRACES}
    return [Path(folder) for folder, inner, files in os.walk(place) if marks & {*inner, *files}]


def _check_key(key: bytes, homes: list[Path]) -> list[Checked]:
    """Check that every chain is signed by a key."""
    if not homes:
        return [Checked(Path(CHAIN_FILE), "missing", "no campaign is here that could be signed")]
    return [one for folder in homes for one in check_key(folder, key)]


def _check_head(head: str, homes: list[Path]) -> list[Checked]:
    """Compare a head that was kept elsewhere with the chains."""
    digits = "".join(head.split()).casefold()
    if len(digits) < HEAD_DIGITS or not set(digits) <= set("0123456789abcdef"):
        raise RecordError(
            f"{head!r} is no head of a chain: expected {HEAD_DIGITS} or more hex digits"
        )
    if any(read_chain(folder).holds(digits) for folder in homes):
        return []
    place = next(iter(homes), Path()) / CHAIN_FILE
    text = f"holds no link {digits[:HEAD_DIGITS]}...: its end was cut off, or it was written anew"
    return [Checked(place, "missing", text)]


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
