"""Ledger: what every article, line and mount has been through.

Every drop counts, also an invalid one, one that was aborted after its release, and one that
was never recorded: those are entered by hand, with bounds and a name. See `json_lines` for how
an entry is corrected.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from tautlog.archive.summary import RecordSummary
from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model import quantities as q
from tautlog.model.names import alike
from tautlog.model.origin import MARK
from tautlog.model.signature import signed
from tautlog.model.timestamp import moment_problem, stamp
from tautlog.model.verdict_words import force_text

FILE_NAME = "ledger.jsonl"
KINDS = ("article", "line", "mount")
UNNAMED = "(not named)"
# Of a table: what stands above the columns, from `Exposure.kind` to `last_utc`.
HEAD = (
    *("what", "name", "drops", "by hand", "peak not known", "unreadable files", "highest N"),
    "last",
)


@dataclass(frozen=True)
class LedgerEntry:
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
        problem = moment_problem(self.utc)
        if problem:
            raise CampaignError(f"utc = {self.utc!r}: {problem}")
        if not signed(self.by):
            raise CampaignError("by = '': allowed is the name of who entered it")
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
        "article", "line", "mount", or "file" for one that cannot be read; its name, "" where
        nobody named one.
    drops, recorded, entered : int
        All; in records; by hand.
    invalid : int
        Of the recorded ones, those whose peak is not known.
    highest_n : float or None
        Highest peak measured or entered as a bound.
    last_utc : str
        Of the latest drop.
    unreadable : int
        Files that cannot be read and may be of its drops. Those of a mount are in `drops`;
        which article and which line they aged, nobody knows.
    """

    kind: str
    name: str
    drops: int
    recorded: int
    entered: int
    invalid: int
    highest_n: float | None
    last_utc: str
    unreadable: int = 0


def read_entries(folder: Path) -> list[LedgerEntry]:
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


def all_entries(folder: Path) -> list[Standing[LedgerEntry]]:
    """Entries of a campaign's ledger, superseded ones too.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return read_standing(folder / FILE_NAME, LedgerEntry, "entry")


def add_entry(folder: Path, entry: LedgerEntry) -> Appended:
    """Append a drop that is in no record, or the correction of one; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, names nothing, or supersedes what is no entry.
    """
    if entry.supersedes is None and not entry.names_something:
        raise CampaignError("an entry names an article, a line or a mount")
    return add_line(folder / FILE_NAME, asdict(entry))


def exposures(
    records: list[RecordSummary], entries: list[LedgerEntry], mounts: list[tuple[str, str]]
) -> list[Exposure]:
    """Count what each article, line and mount has been through.

    Every record with a measured contact counts, also one that was aborted, never finished or
    is invalid; one that cannot be read counts as one exposure of unknown size. Only what was
    called off before the release does not, nor a rehearsal, in which nothing moved, nor a
    second copy of the same record.

    Parameters
    ----------
    records : list of RecordSummary
        All of the campaign, also those that cannot be read.
    entries : list of LedgerEntry
        By hand.
    mounts : list of (str, str)
        Names of the mounts and the day or moment of their proof; every drop since then
        counts. A drop that names no mount may have been on any: it counts for each.
    """
    broken = [one for one in records if one.problem]
    good = _counted(records)
    found = [
        _exposure(
            kind,
            name,
            [one for one in good if getattr(one, kind) == name],
            [one for one in entries if getattr(one, kind) == name],
            len(broken),
        )
        for kind in ("article", "line")
        for name in _names(kind, good, entries)
    ]
    told = dict(mounts)
    for name in [*told, *(one for one in _names("mount", good, entries) if one not in told)]:
        since = told.get(name, "")
        if not name:
            continue
        mine = [one for one in good if _may_be_on(name, one.mount) and _not_before(one.utc, since)]
        by_hand = [
            one for one in entries if _may_be_on(name, one.mount) and _not_before(one.utc, since)
        ]
        # Written before the proof, a broken file holds no drop of after it.
        lost = [one for one in broken if _not_before(_last_written(one), since)]
        found.append(_exposure("mount", name, [*mine, *lost], by_hand, len(lost)))
    return found + [_exposure("file", one.path.name, [one], [], 1) for one in broken]


def row(one: Exposure) -> list[str]:
    """One line of the ledger, as everywhere."""
    figures = (one.drops, one.entered, one.invalid, one.unreadable)
    cells = [*map(str, figures), force_text(one.highest_n), one.last_utc[:19] or "-"]
    return [one.kind, one.name or UNNAMED, *cells]


def rehearsals(records: list[RecordSummary]) -> list[Exposure]:
    """What was rehearsed of each article and line: it counts for nothing, and is told apart."""
    mine = [one for one in records if one.rehearsed]
    return [
        _exposure(f"{MARK} {kind}", name, [one for one in mine if getattr(one, kind) == name], [])
        for kind in ("article", "line")
        for name in _names(kind, mine, [])
    ]


def _counted(records: list[RecordSummary]) -> list[RecordSummary]:
    """Those that aged something, each once."""
    found, seen = [], set()
    for one in records:
        same = (one.record_id, one.seal_now)
        if not one.problem and one.released and not one.rehearsed and same not in seen:
            found.append(one)
            seen |= {same} if one.record_id else set()
    return found


def _may_be_on(mount: str, told: str) -> bool:
    """Whether a drop that names a mount so may have been on it; no name may be any."""
    return not told or alike(told, mount)


def _not_before(utc: str, since: str) -> bool:
    """Whether a moment lies on or after a day, or a moment to the second."""
    return utc[: len("2026-03-01T00:00:00")] >= since[: len("2026-03-01T00:00:00")]


def _last_written(file: RecordSummary) -> str:
    """When a file was last written; the latest moment that there is where nobody knows."""
    try:
        return stamp(datetime.fromtimestamp(file.path.stat().st_mtime, UTC))
    except (OSError, OverflowError, ValueError):
        return "9999"


def _names(kind: str, records: list[RecordSummary], entries: list[LedgerEntry]) -> list[str]:
    """What is named, in order; at the end "" for records that name nothing."""
    names = {getattr(one, kind) for one in records} | {getattr(one, kind) for one in entries} - {""}
    return sorted(names, key=lambda name: (not name, name))


def _exposure(
    kind: str,
    name: str,
    records: list[RecordSummary],
    entries: list[LedgerEntry],
    unreadable: int = 0,
) -> Exposure:
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
        unreadable=unreadable,
    )
