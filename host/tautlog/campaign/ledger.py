"""Ledger: the drops that every article, line and mount has seen.

Every drop counts: an invalid drop, too, and a drop that was aborted after its release or never
recorded. Enter unrecorded drops by hand, with a bound of the peak and a name. See `json_lines`
for how to correct an entry.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from tautlog.archive.summary import RecordSummary
from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.model.names import alike
from tautlog.model.origin import MARK
from tautlog.model.signature import signed
from tautlog.model.timestamp import require_time, stamp
from tautlog.model.verdict_words import force_text

FILE_NAME = "ledger.jsonl"
KINDS = ("article", "line", "mount")
UNNAMED = "(not named)"
# Column heads of the table, from `Exposure.kind` to `last_utc`.
HEAD = (
    *("what", "name", "drops", "by hand", "peak not known", "unreadable files", "highest, N"),
    "last",
)

Drop = TypeVar("Drop", RecordSummary, "LedgerEntry")


@dataclass(frozen=True)
class LedgerEntry:
    """A drop that was not recorded, entered by hand.

    An entry that names nothing withdraws the entry that it supersedes: there was no such drop.
    Nor does one count that names a record in `given_up`: the rest of its event was given up, and
    the record itself counts.
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
    given_up: str = ""

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        if not signed(self.by):
            raise CampaignError("by = '': expected the name of who entered it")
        if self.peak_at_most_n is not None:
            q.FORCE.require("peak_at_most_n", self.peak_at_most_n)

    @property
    def names_something(self) -> bool:
        """Whether it names article, line or mount."""
        return bool(self.article or self.line or self.mount)


@dataclass(frozen=True)
class Exposure:
    """The drops that one article, line or mount has seen.

    Attributes
    ----------
    kind, name : str
        "article", "line", "mount", or "file" for an unreadable file; its name, "" if not named.
    drops, recorded, entered : int
        All drops; recorded drops; drops entered by hand.
    invalid : int
        Recorded drops whose peak is not known.
    highest_n : float or None
        Highest peak, measured or entered as a bound.
    last_utc : str
        Time of the latest drop.
    unreadable : int
        Unreadable files that may hold its drops. For a mount they count in `drops`; which
        article and which line they aged is not known.
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
    """Entries of a campaign's ledger that count, by time of the drop.

    Raises
    ------
    CampaignError
        If a line cannot be read; names the line.
    """
    return [
        replace(standing.entry, utc=standing.utc)
        for standing in all_entries(folder)
        if standing.superseded_by is None and standing.entry and standing.entry.names_something
    ]


def all_entries(folder: Path) -> list[Standing[LedgerEntry]]:
    """All entries of a campaign's ledger, superseded entries too.

    Raises
    ------
    CampaignError
        If a line cannot be read; names the line.
    """
    return read_standing(folder / FILE_NAME, LedgerEntry, "entry")


def add_entry(folder: Path, entry: LedgerEntry) -> Appended:
    """Append an unrecorded drop, or a correction; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, names nothing, or the superseded entry does not exist.
    """
    if entry.supersedes is None and not (entry.names_something or entry.given_up):
        raise CampaignError("an entry must name an article, a line or a mount")
    return add_line(folder / FILE_NAME, asdict(entry))


def exposures(
    records: list[RecordSummary], entries: list[LedgerEntry], mounts: list[tuple[str, str]]
) -> list[Exposure]:
    """Count the drops that each article, line and mount has seen.

    Every record with a measured contact counts, even if it was aborted, never finished or is
    invalid. An unreadable file counts as one drop of unknown size. A drop that was called off
    before the release does not count, nor a rehearsal, in which nothing moved, nor a second copy
    of the same record.

    Parameters
    ----------
    records : list of RecordSummary
        All records of the campaign, unreadable files too.
    entries : list of LedgerEntry
        Drops entered by hand.
    mounts : list of (str, str)
        Names of the mounts, and day or time of their proofs; every drop since then counts. A
        drop that names no mount may have been on any mount: it counts for each.
    """
    broken = [record for record in records if record.problem]
    good = _counted(records)
    found = [
        _exposure(
            kind,
            name,
            recorded[name],
            by_hand[name],
            len(broken),
        )
        for kind in ("article", "line")
        for recorded, by_hand in [(_by_name(kind, good), _by_name(kind, entries))]
        for name in _names(kind, good, entries)
    ]
    proven_on = dict(mounts)
    for name in dict.fromkeys([*proven_on, *_names("mount", good, entries)]):
        since = proven_on.get(name, "")
        mine = [drop for drop in good if _may_be_since(drop, name, since)]
        entered = [drop for drop in entries if _may_be_since(drop, name, since)]
        # A file that was last written before the proof holds no later drop.
        lost = [file for file in broken if _not_before(_last_written(file), since)]
        found.append(_exposure("mount", name, [*mine, *lost], entered, len(lost)))
    return found + [_exposure("file", file.path.name, [file], [], 1) for file in broken]


def head(units: Units) -> tuple[str, ...]:
    """The columns of `row`."""
    return tuple(units.label(name) for name in HEAD)


def row(exposure: Exposure, units: Units = SI) -> list[str]:
    """Cells of one line of the ledger, the same everywhere."""
    figures = (exposure.drops, exposure.entered, exposure.invalid, exposure.unreadable)
    highest = force_text(exposure.highest_n, units=units)
    cells = [*map(str, figures), highest, exposure.last_utc[:19] or "-"]
    return [exposure.kind, exposure.name or UNNAMED, *cells]


def rehearsals(records: list[RecordSummary]) -> list[Exposure]:
    """Rehearsals of each article and line, listed apart: they count for nothing."""
    mine = [record for record in records if record.rehearsed]
    return [
        _exposure(f"{MARK} {kind}", name, recorded[name], [])
        for kind in ("article", "line")
        for recorded in [_by_name(kind, mine)]
        for name in _names(kind, mine, [])
    ]


def _by_name(kind: str, drops: Iterable[Drop]) -> defaultdict[str, list[Drop]]:
    """Drops by the name of their article or line."""
    found: defaultdict[str, list[Drop]] = defaultdict(list)
    for drop in drops:
        found[getattr(drop, kind)].append(drop)
    return found


def _counted(records: list[RecordSummary]) -> list[RecordSummary]:
    """Records of drops that aged something, each once."""
    found, seen = [], set()
    for record in records:
        same = (record.record_id, record.seal_now)
        if record.on_rig and same not in seen:
            found.append(record)
            seen |= {same} if record.record_id else set()
    return found


def _may_be_since(drop: RecordSummary | LedgerEntry, mount: str, since: str) -> bool:
    """Whether a drop may have been on a mount since a time; without a name it may be any mount."""
    on_it = not drop.mount or alike(drop.mount, mount)
    return on_it and _not_before(drop.utc, since)


def _not_before(utc: str, since: str) -> bool:
    """Whether a time lies on or after a day, or a time to the second."""
    return utc[: len("2026-03-01T00:00:00")] >= since[: len("2026-03-01T00:00:00")]


def _last_written(file: RecordSummary) -> str:
    """When a file was last written; later than any time if that is not known."""
    try:
        return stamp(datetime.fromtimestamp(file.path.stat().st_mtime, UTC))
    except (OSError, OverflowError, ValueError):
        return "9999"


def _names(kind: str, records: list[RecordSummary], entries: list[LedgerEntry]) -> list[str]:
    """The names in order; "" comes last, for drops that name nothing."""
    names = {getattr(item, kind) for item in records} | {
        getattr(item, kind) for item in entries
    } - {""}
    return sorted(names, key=lambda name: (not name, name))


def _exposure(
    kind: str,
    name: str,
    records: list[RecordSummary],
    entries: list[LedgerEntry],
    unreadable: int = 0,
) -> Exposure:
    peaks = [abs(record.peak_force_n) for record in records if record.peak_force_n is not None]
    peaks += [entry.peak_at_most_n for entry in entries if entry.peak_at_most_n is not None]
    unknown = sum(
        record.record_verdict == "invalid" or record.peak_force_n is None for record in records
    )
    days = [record.utc for record in records] + [record.utc for record in entries]
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
