"""Ledger: what every article, line and mount has been through.

Every drop counts, also an invalid one, one that was aborted after its release, and one that
was never recorded: those are entered by hand, with bounds and a name. See `jsonlines` for how
an entry is corrected.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog import quantities as q
from tautlog.archive import RecordSummary
from tautlog.errors import CampaignError
from tautlog.jsonlines import Standing, add_line, read_standing
from tautlog.moment import stamp

FILE_NAME = "ledger.jsonl"
KINDS = ("article", "line", "mount")


@dataclass(frozen=True)
class Entry:
    """One drop that is in no record, as entered by hand.

    One that names nothing takes back the entry that it supersedes: there was no such drop.
    """

    utc: str
    by: str
    article: str = ""
    line: str = ""
    mount: str = ""
    peak_at_most_n: float | None = None
    note: str = ""
    supersedes: int | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        if self.peak_at_most_n is not None:
            q.FORCE.require("peak_at_most_n", self.peak_at_most_n)

    @property
    def names_something(self) -> bool:
        """Whether it tells of a drop at all."""
        return bool(self.article or self.line or self.mount)


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
    """Entries of a campaign's ledger that count, by the time of the drop.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return [
        replace(one.entry, utc=one.utc)
        for one in all_entries(folder)
        if one.superseded_by is None and one.entry and one.entry.names_something
    ]


def all_entries(folder: Path) -> list[Standing[Entry]]:
    """Entries of a campaign's ledger, superseded ones too.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return read_standing(folder / FILE_NAME, Entry, "entry")


def add_entry(
    folder: Path,
    *,
    by: str,
    article: str = "",
    line: str = "",
    mount: str = "",
    peak_at_most_n: float | None = None,
    note: str = "",
    supersedes: int | None = None,
    reason: str = "",
) -> Entry:
    """Append a drop that is in no record, or the correction of one; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, names nothing, or its bound makes no sense.
    """
    entry = Entry(stamp(), by, article, line, mount, peak_at_most_n, note, supersedes, reason)
    if supersedes is None and not entry.names_something:
        raise CampaignError("an entry names an article, a line or a mount")
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
        Names of the mounts and the day or moment of their proof; every drop since then
        counts. A drop that names no mount may have been on any: it counts for each.
    """
    found: list[Exposure] = []
    good = [one for one in records if not one.problem and one.released]
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
                [one for one in good if one.mount in ("", name) and _not_before(one.utc, since)],
                [one for one in entries if one.mount in ("", name) and _not_before(one.utc, since)],
            )
        )
    return found


def _not_before(utc: str, since: str) -> bool:
    """Whether a moment lies on or after a day, or a moment to the second."""
    return utc[: len("2026-03-01T00:00:00")] >= since[: len("2026-03-01T00:00:00")]


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
