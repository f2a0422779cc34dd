"""Verify: whether records are what they were when they were sealed, and none is missing.

A seal shows damage and honest mistakes; the chain of a campaign shows a record that was
taken away or put in another's place. Neither is a signature.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tautlog.batch import records_in
from tautlog.errors import RecordError
from tautlog.record import Record, open_checked
from tautlog.record.chain import CAMPAIGN_FILE, read_chain

ENOUGH_FOR_CORES = 64


@dataclass(frozen=True)
class Checked:
    """What was found of one record, or of one place in a chain.

    Attributes
    ----------
    path : Path
        The file.
    state : str
        "intact"; "unfinished", never sealed; "broken", not what was sealed; "unreadable";
        "missing" or "swapped", by the chain.
    text : str
        What differs, in plain words.
    """

    path: Path
    state: str
    text: str

    @property
    def differs(self) -> bool:
        """Whether it is not as it should be."""
        return self.state not in ("intact", "unfinished")


def verify(places: list[Path]) -> list[Checked]:
    """Verify records and the chains of the campaigns that they lie in.

    Parameters
    ----------
    places : list of Path
        Records, folders, trees.

    Raises
    ------
    RecordError
        If a place does not exist.
    """
    found: list[Checked] = []
    seals: dict[Path, dict[str, str]] = {}
    records: dict[Path, list[Record]] = {}
    paths = records_in(places)
    for path, (checked, record, seal) in zip(paths, _checked(paths), strict=True):
        found.append(checked)
        folder = path.parent
        seals.setdefault(folder, {})[path.name] = seal
        if record is not None:
            records.setdefault(folder, []).append(record)
    whole = {one for place in places if place.is_dir() for one in _campaigns(place)}
    for folder in sorted(whole):
        found += check_chain(folder, seals.get(folder, {}), records.get(folder, []))
    return found


def _checked(paths: list[Path]) -> Iterator[tuple[Checked, Record | None, str]]:
    """Check records, many of them on all cores: opening one takes longer than its hash."""
    if len(paths) < ENOUGH_FOR_CORES:
        yield from map(check_record, paths)
        return
    with ProcessPoolExecutor() as pool:
        yield from pool.map(check_record, paths, chunksize=16)


def _campaigns(place: Path) -> list[Path]:
    return [one.parent for one in place.rglob(CAMPAIGN_FILE)]


def check_record(path: Path) -> tuple[Checked, Record | None, str]:
    """Seal of one record: what was found, the record, and the seal of what is there."""
    try:
        record, check = open_checked(path)
    except RecordError as problem:
        return Checked(path, "unreadable", str(problem)), None, ""
    if check.state == "unsealed":
        if record.status == "recording":
            text = "was never finished: `tautlog recover` completes it"
            return Checked(path, "unfinished", text), record, ""
        text = f"is {record.status} and carries no seal: it was taken away"
        return Checked(path, "broken", text), record, check.computed
    if check.state == "broken":
        text = (
            f"raw data, set-up or calibration are not what was sealed ({check.stored[:12]}..., now "
            f"{check.computed[:12]}...): keep it, and look for another copy"
        )
        return Checked(path, "broken", text), record, check.computed
    return Checked(path, "intact", f"seal {check.stored[:12]}..."), record, check.computed


def check_chain(folder: Path, seals: dict[str, str], records: list[Record]) -> list[Checked]:
    """Hold a campaign's records against its chain.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    seals : dict
        Seal of what is in each file there, by its name.
    records : list of Record
        Those that can be read.
    """
    found = []
    chain = read_chain(folder)
    by_id = {one.record_id: one for one in records}
    known = {link.seal for link in chain}
    before = ""
    for link in chain:
        path = folder / link.name
        record = by_id.get(link.record_id)
        if record is None and link.name not in seals:
            found.append(
                Checked(path, "missing", f"was sealed here ({link.seal[:12]}...) and is gone")
            )
        elif record is None:
            text = f"is another record than the one sealed under this name ({link.record_id[:8]})"
            found.append(Checked(path, "swapped", text))
        elif seals.get(record.path.name) != link.seal:
            found.append(Checked(record.path, "swapped", "its seal is not the one in the chain"))
        if link.previous != before:
            text = f"the chain before it was changed: it was sealed after {link.previous[:12]}..."
            found.append(Checked(path, "missing", text))
        before = link.seal
    there = {seal for seal in seals.values() if seal}
    for record in records:
        previous = record.previous_seal
        if previous and previous not in known and previous not in there:
            text = f"the record sealed before it ({previous[:12]}...) is gone, also from the chain"
            found.append(Checked(record.path, "missing", text))
    return found
