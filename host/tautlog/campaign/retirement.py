"""Retirement: when a line or an article must be taken out of use, by rules of the campaign.

Every drop ages what it pulls. The rules are the campaign's own; nothing here knows how long a
sling lasts. An unreadable file may have been a drop of any line: it counts for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.condemned import Retired
from tautlog.campaign.ledger import Exposure, LedgerEntry, exposures
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.model.key import COUNT, stated
from tautlog.model.line import Line
from tautlog.model.shown import shown_force
from tautlog.model.timestamp import today


@dataclass(frozen=True)
class Retirement:
    """When lines and articles retire; None for no rule."""

    line_drops: int | None = field(
        default=None,
        metadata=stated("Drops after which a line or sling retires.", 50, whole=COUNT),
    )
    line_peak_n: float | None = field(
        default=None,
        metadata=stated("Peak above which a line or sling retires.", 4000.0, q.FORCE),
    )
    line_days: float | None = field(
        default=None,
        metadata=stated("Days after its first drop here on which it retires.", 730.0, q.DAYS),
    )
    article_drops: int | None = field(
        default=None, metadata=stated("Drops after which an article retires.", 12, whole=COUNT)
    )

    @property
    def asked(self) -> bool:
        """Whether any rule is stated."""
        return self != Retirement()


def worn_out(
    rules: Retirement,
    records: Sequence[RecordSummary],
    entries: Sequence[LedgerEntry],
    lines: Sequence[Line],
    day: str = "",
    units: Units = SI,
) -> tuple[Retired, ...]:
    """Lines and articles that the rules retire, each with the reason.

    Parameters
    ----------
    rules : Retirement
        The campaign's.
    records, entries : sequence of RecordSummary, sequence of LedgerEntry
        All records of the campaign, and the drops entered by hand.
    lines : sequence of Line
        Give the drops before this campaign.
    day : str
        ISO day on which it is asked (default: today).
    units : Units
        Units in which it is said.
    """
    if not rules.asked:
        return ()
    before = {line.name: line.drops or 0 for line in lines}
    found: list[Retired] = []
    for one in exposures(list(records), list(entries), []):
        drops = one.drops + one.unreadable
        if one.kind == "article" and one.name:
            whys = [_by_drops(drops, rules.article_drops)]
        elif one.kind == "line" and one.name:
            drops += before.get(one.name, 0)
            first_utc = _first_utc(one.name, records, entries)
            whys = [
                _by_drops(drops, rules.line_drops),
                _by_peak(one, rules.line_peak_n, units),
                _by_days(first_utc, day or today(), rules.line_days),
            ]
        else:
            continue
        found += [Retired(one.kind, one.name, f"[retirement] {why}") for why in whys if why]
    return tuple(found)


def _by_drops(drops: int, most: int | None) -> str:
    if most is None or drops < most:
        return ""
    return f"allows {most} drops, and {drops} are counted"


def _by_peak(one: Exposure, most_n: float | None, units: Units) -> str:
    if most_n is None:
        return ""
    if (one.highest_n or 0.0) > most_n:
        seen = shown_force(one.highest_n or 0.0, None, (most_n,), units)
        return f"allows {seen.level()}, and it has seen {seen.text}"
    if one.invalid:
        return (
            f"allows {units.text(most_n, 'N')}, and of {one.invalid} of its drops the peak is not "
            "known: they may have been higher"
        )
    return ""


def _by_days(first_utc: str, day: str, most: float | None) -> str:
    if most is None or not first_utc:
        return ""
    try:
        used = (date.fromisoformat(day) - date.fromisoformat(first_utc[:10])).days
    except ValueError:
        return f"allows {most:g} days, and the day of its first drop cannot be read"
    return f"allows {most:g} days, and its first drop was {used} days ago" if used >= most else ""


def _first_utc(line: str, records: Sequence[RecordSummary], entries: Sequence[LedgerEntry]) -> str:
    times = [one.utc for one in records if _ages(one) and one.line == line]
    times += [one.utc for one in entries if one.line == line]
    return min(times, default="")


def _ages(record: RecordSummary) -> bool:
    return record.on_rig
