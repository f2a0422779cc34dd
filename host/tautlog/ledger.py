"""Ledger: what every article, line and mount has been through.

Every drop counts, also an invalid one, and one that was never recorded: those are entered
by hand, with bounds and a name.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.archive import RecordSummary
from tautlog.errors import CampaignError
from tautlog.jsonlines import add_line, read_lines
from tautlog.moment import stamp

FILE_NAME = "ledger.jsonl"
KINDS = ("article", "line", "mount")


@dataclass(frozen=True)
class Entry:
    """One drop that is in no record, as entered by hand."""

    utc: str
    by: str
    article: str = ""
    line: str = ""
    mount: str = ""
    peak_at_most_n: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Exposure:
    """What one article, line or mount has been through.

    Attributes
    ----------
    kind, name : str
        "article", "line" or "mount"; its name.
    drops, recorded, entered : int
        All; in records; by hand.
    invalid : int
        Of the recorded ones, those whose peak is not known.
    highest_n : float or None
        Highest peak measured or entered as a bound.
    last_utc : str
        Of the latest drop.
    """

    kind: str
    name: str
    drops: int
    recorded: int
    entered: int
    invalid: int
    highest_n: float | None
    last_utc: str


def read_entries(folder: Path) -> list[Entry]:
    """Entries of a campaign's ledger, oldest first.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return read_lines(folder / FILE_NAME, Entry, "entry")


def add_entry(
    folder: Path,
    *,
    by: str,
    article: str = "",
    line: str = "",
    mount: str = "",
    peak_at_most_n: float | None = None,
    note: str = "",
) -> Entry:
    """Append a drop that is in no record; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, or names nothing.
    """
    if not (article or line or mount):
        raise CampaignError("an entry names an article, a line or a mount")
    entry = Entry(stamp(), by, article, line, mount, peak_at_most_n, note)
    add_line(folder / FILE_NAME, asdict(entry))
    return entry


def exposures(
    records: list[RecordSummary], entries: list[Entry], mounts: list[tuple[str, str]]
) -> list[Exposure]:
    """Count what each article, line and mount has been through.

    Parameters
    ----------
    records : list of RecordSummary
        All of the campaign, also those that cannot be read.
    entries : list of Entry
        By hand.
    mounts : list of (str, str)
        Names of the mounts and the day of their proof; every drop since then counts.
    """
    found: list[Exposure] = []
    good = [one for one in records if not one.problem and one.status != "aborted"]
    for kind in ("article", "line"):
        names = {getattr(one, kind) for one in good} | {getattr(one, kind) for one in entries}
        for name in sorted(one for one in names if one):
            found.append(
                _exposure(
                    kind,
                    name,
                    [one for one in good if getattr(one, kind) == name],
                    [one for one in entries if getattr(one, kind) == name],
                )
            )
    for name, since in mounts:
        found.append(
            _exposure(
                "mount",
                name,
                [one for one in good if one.utc[:10] >= since],
                [one for one in entries if one.mount in ("", name) and one.utc[:10] >= since],
            )
        )
    return found


def _exposure(kind: str, name: str, records: list[RecordSummary], entries: list[Entry]) -> Exposure:
    peaks = [abs(one.peak_force_n) for one in records if one.peak_force_n is not None]
    peaks += [one.peak_at_most_n for one in entries if one.peak_at_most_n is not None]
    unknown = sum(one.record_verdict == "invalid" or one.peak_force_n is None for one in records)
    days = [one.utc for one in records] + [one.utc for one in entries]
    return Exposure(
        kind=kind,
        name=name,
        drops=len(records) + len(entries),
        recorded=len(records),
        entered=len(entries),
        invalid=unknown,
        highest_n=max(peaks, default=None),
        last_utc=max(days, default=""),
    )
