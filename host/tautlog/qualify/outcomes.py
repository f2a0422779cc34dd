"""Outcomes: what became of each article of a version, and which drop says so.

Articles are counted, never drops: drops on one and the same article are not independent. An
article stood if one valid drop reached the target, the load path held, the inspection found
nothing, and a named person decided that it passed. A drop below the target proves nothing; a
break counts always, whatever the drop was and whatever was decided.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from tautlog.archive.summary import RecordSummary
from tautlog.model.display_units import SI, Units
from tautlog.model.inspection import GAVE_WAY, NOT_INSPECTED, WHOLE
from tautlog.model.names import alike
from tautlog.model.origin import IMPORTED
from tautlog.model.surroundings import Atmosphere

STOOD, BROKE, OPEN, UNTRIED = "stood", "broke", "open", "proves nothing"
PASSES = ("pass", "pass-overtested")
REACHED = ("on-target", "possible-overload", "overload")  # the target is proven
SAME_PEAK, SAME_U = 1e-5, 1e-3  # relative; drops of one rig scatter by some 5e-3; own choice
_ALMOST = 1.0 - 1e-9  # a target that was typed as another unit is the same target


@dataclass(frozen=True)
class Tried:
    """What an article had to stand, and in which surroundings.

    Attributes
    ----------
    target_n, limit_n : float or None
        Force to reach; force above which a break speaks for nothing.
    atmosphere : Atmosphere
        What was agreed for line and article.
    units : Units
        Units in which it is said.
    """

    target_n: float | None
    limit_n: float | None = None
    atmosphere: Atmosphere = field(default_factory=Atmosphere)
    units: Units = SI


@dataclass(frozen=True)
class Outcome:
    """What became of one article.

    Attributes
    ----------
    article : str
        Its name.
    result : str
        `STOOD`, `BROKE`, `OPEN` (somebody must still say something), or `UNTRIED`.
    why : str
        Which drop says so, or why none does.
    drops : int
        Drops that it has seen on the rig.
    broke_n : float or None
        Force at its first damage, of a valid record; None if it is not known.
    carried_n : float or None
        Highest measured load after which it was whole.
    u_fraction : float
        Relative expanded uncertainty of these forces, the largest.
    by : str
        Who decided.
    """

    article: str
    result: str
    why: str
    drops: int = 0
    broke_n: float | None = None
    carried_n: float | None = None
    u_fraction: float = 0.0
    by: str = ""


def outcome_of(article: str, records: Sequence[RecordSummary], tried: Tried) -> Outcome:
    """What became of an article.

    Parameters
    ----------
    article : str
        Its name, as in campaign.toml.
    records : sequence of RecordSummary
        Records of the campaign, by time of the drop.
    tried : Tried
        What it had to stand.
    """
    drops = [one for one in real_drops(records) if alike(one.article, article)]
    broke = [one for one in drops if broke_in(one)]
    against = [one for one in broke if not _above_limit(one, tried)]
    result, why, by = _result(drops, against, tried)
    if result == UNTRIED and broke:
        why = f"{broke[0].name}: it broke above the limit, which says nothing of the target"
    carried = [(abs(one.peak_force_n or 0.0), _u_of(one)) for one in drops if _whole_after(one)]
    first = broke[0] if broke else None
    return Outcome(
        article,
        result,
        why,
        len(drops),
        broke_n=_broke_n(first) if first else None,
        carried_n=max((force for force, _ in carried), default=None),
        u_fraction=max([u for _, u in carried] + [_u_of(one) for one in broke], default=0.0),
        by=by,
    )


def real_drops(records: Sequence[RecordSummary]) -> list[RecordSummary]:
    """Drops on the rig: readable, released, and no rehearsals."""
    return [one for one in records if one.on_rig]


def broke_in(record: RecordSummary) -> bool:
    """Whether the article gave way in a drop: by inspection, or by decision."""
    return record.found in GAVE_WAY or record.decided == "fail"


FELL_EARLIER = "it was once proposed or decided as fail and is so no more"


def fell_earlier(record: RecordSummary) -> bool:
    """Whether a drop was a fail before somebody inspected, marked or decided it anew."""
    return "fail" in record.overruled.split(", ") and not broke_in(record)


def _result(
    drops: Sequence[RecordSummary], against: Sequence[RecordSummary], tried: Tried
) -> tuple[str, str, str]:
    """Result, why, and who decided."""
    if against:
        one = against[0]
        return BROKE, f"{one.name}: {one.found or 'failed by decision'}", one.decided_by
    for one in drops:
        if one.trace_says in ("let-go", "slipped") and _not_looked_at(one):
            return OPEN, f"{one.name}: {one.trace_says}, and nobody has said what gave way", ""
    for one in drops:
        if fell_earlier(one) and one.decided not in PASSES:
            return OPEN, f"{one.name}: {FELL_EARLIER}, and nobody has decided that it passed", ""
    lacking: list[tuple[RecordSummary, str]] = []
    for one in drops:
        lacks = lacking_of(one, tried)
        if not lacks:
            return STOOD, f"{one.name}: decided by {one.decided_by}", one.decided_by
        lacking.append((one, lacks))
    if not drops:
        return UNTRIED, "not dropped", ""
    one, lacks = next(((one, why) for one, why in lacking if why in _FOR_PEOPLE), lacking[-1])
    return (OPEN if lacks in _FOR_PEOPLE else UNTRIED), f"{one.name}: {lacks}", ""


NOT_INSPECTED_YET, NOT_DECIDED = "not inspected yet", "nobody has decided yet"
_FOR_PEOPLE = (NOT_INSPECTED_YET, NOT_DECIDED)


def lacking_of(record: RecordSummary, tried: Tried) -> str:
    """Why a drop does not show that its article stood the target; "" if it does.

    What people can still add comes last, so that it is asked for only where it would help.
    """
    if record.doubts:
        return record.doubts[0]
    if tried.target_n is None:
        return "no target is stated"
    if record.record_verdict != "valid":
        return f"its record is {record.record_verdict or 'not marked'}"
    if record.target_n is None or record.target_n < tried.target_n * _ALMOST:
        return f"it aimed below the target of {tried.units.text(tried.target_n, 'N')}"
    if unproven := _unproven(record):
        return unproven
    if record.trace_says != "held":
        return f"its load path: {record.trace_says}"
    if away := tried.atmosphere.departures(record.surroundings):
        return "; ".join(away)
    if _not_looked_at(record):
        return NOT_INSPECTED_YET
    if record.found not in WHOLE:
        return f"found {record.found}"
    if not record.decided:
        return NOT_DECIDED
    if record.decided not in PASSES or not record.decided_by:
        return f"decided as {record.decided}"
    return ""


def _unproven(record: RecordSummary) -> str:
    """Why a drop does not prove the target that it aimed at, or ""."""
    if record.load_verdict not in REACHED:
        return f"the target is not proven ({record.load_verdict or 'no load'})"
    if record.test_verdict in ("no-test", "no-verdict"):
        # One leg above its limit makes an overload of a sum that did not reach its target.
        return f"the target is not proven: {record.test_verdict} was proposed"
    return ""


def _not_looked_at(record: RecordSummary) -> bool:
    return record.found in ("", NOT_INSPECTED)


def _whole_after(record: RecordSummary) -> bool:
    """Whether a drop shows that its article carried the measured load."""
    return (
        record.record_verdict == "valid"
        and record.trace_says == "held"
        and record.found in WHOLE
        and not record.doubts
        and not broke_in(record)
        and record.peak_force_n is not None
    )


def each_trace_once(
    records: Sequence[RecordSummary],
) -> tuple[list[RecordSummary], tuple[str, ...]]:
    """Records without imported copies of the trace of another article, and which those are.

    Two pulls do not have the same peak to a hundred-thousandth, and the same uncertainty; a copy
    has, also one that was shifted or rounded. A board's own records are known by their identity,
    and are left as they are.
    """
    first: dict[int, list[RecordSummary]] = {}
    once, told = [], []
    for record in records:
        place = _place(record)
        others = first.setdefault(place, []) if place is not None else []
        near = [one for step in (-1, 0, 1) for one in first.get((place or 0) + step, ())]
        other = next((one for one in near if _looks_copied(one, record)), None)
        if place is None or other is None:
            once.append(record)
            others.append(record)
            continue
        told.append(
            f"{record.name}, of article {record.article}, has the same trace as {other.name}, of "
            f"article {other.article}: it counts for that one only"
        )
    return once, tuple(told)


def _place(record: RecordSummary) -> int | None:
    """Where an imported peak stands among all, in steps of `SAME_PEAK`; None for another."""
    if record.origin != IMPORTED or not record.peak_force_n:
        return None
    return round(math.log(abs(record.peak_force_n)) / SAME_PEAK)


def _looks_copied(one: RecordSummary, other: RecordSummary) -> bool:
    """Whether two imported records of two articles hold one trace."""
    pairs = (
        (one.peak_force_n, other.peak_force_n, SAME_PEAK),
        (one.peak_force_expanded_u_n, other.peak_force_expanded_u_n, SAME_U),
    )
    same = all(math.isclose(a or 0.0, b or 0.0, rel_tol=tie) for a, b, tie in pairs)
    return same and not alike(one.article, other.article)


def _u_of(record: RecordSummary) -> float:
    if not record.peak_force_n or record.peak_force_expanded_u_n is None:
        return 0.0
    return abs(record.peak_force_expanded_u_n / record.peak_force_n)


def _broke_n(record: RecordSummary) -> float | None:
    """Force at first damage, or the peak; None if the record does not tell it."""
    if record.record_verdict != "valid" or record.load_verdict == "at-least" or record.doubts:
        return None
    if record.peak_force_n is None or record.peak_force_expanded_u_n is None:
        return None
    return abs(record.first_damage_n or record.peak_force_n)


def _above_limit(record: RecordSummary, tried: Tried) -> bool:
    """Whether the break surely came above all that is required."""
    force_n = _broke_n(record)
    if force_n is None or tried.limit_n is None:
        return False
    return force_n - (record.peak_force_expanded_u_n or 0.0) > tried.limit_n
