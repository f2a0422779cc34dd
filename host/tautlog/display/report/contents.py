"""Contents of a report: all that it tells, as texts, tables, curves and pictures.

`gathering` fills it; `page` and `paper` say the same of it. People's words stand in it as they
were typed.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.archive.photos import Shown

Row = tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A picture as an element of HTML, and in words for those who do not see it."""

    svg: str
    told: str


@dataclass(frozen=True)
class Trace:
    """A curve that the page's script draws; None where a sample is missing.

    Attributes
    ----------
    time_s, raw_n, force_n : tuple of float
        Since the release; unfiltered and filtered force.
    expected_n : tuple of (tuple, tuple) or None
        Lower and upper end of what was predicted.
    label : str
        Name of the filtered curve.
    target_n, limit_n : float or None
        What was wanted.
    """

    time_s: tuple[float, ...]
    raw_n: tuple[float | None, ...]
    force_n: tuple[float | None, ...]
    expected_n: tuple[tuple[float | None, ...], tuple[float | None, ...]] | None
    label: str
    target_n: float | None
    limit_n: float | None


@dataclass(frozen=True)
class Closures:
    """What momentum and weight make of each drop's force; drops are counted from 1."""

    number: tuple[int, ...]
    impulse: tuple[float | None, ...]
    rest: tuple[float | None, ...]


@dataclass(frozen=True)
class VerdictsTold:
    """Verdicts in words, each under a heading that says of what it is."""

    record: str
    load: str
    trace: str
    test: str


@dataclass(frozen=True)
class DecisionTold:
    """What a named person decided, when and why, beside what was proposed."""

    by: str
    utc: str
    reason: str
    words: str
    proposed_words: str


@dataclass(frozen=True)
class OverrideTold:
    """Who dropped all the same, why, and what had refused."""

    by: str
    reason: str
    refused: str


@dataclass(frozen=True)
class PartTold:
    """One contribution to an uncertainty."""

    name: str
    u: str
    kind: str
    basis: str


@dataclass(frozen=True)
class BudgetTold:
    """The uncertainty of one figure, part by part."""

    figure: str
    value: str
    expanded: str
    k: str
    parts: tuple[PartTold, ...]


@dataclass(frozen=True)
class CalibrationTold:
    """What the forces of a drop rest on."""

    slope: str
    u: str
    covered: str
    date: str
    note: str


@dataclass(frozen=True)
class DropTold:
    """One drop; every text ready to be read, "" where there is nothing to say."""

    name: str
    article: str
    mass: str
    height: str
    peak: str
    words: VerdictsTold
    status: str
    finding: str
    lines: tuple[str, ...]
    notes: tuple[str, ...]
    decision: DecisionTold | None
    override: OverrideTold | None
    set_up: str
    plan: tuple[str, ...]
    picture: Picture
    reasons: tuple[str, ...]
    figures: tuple[tuple[str, str], ...]
    budgets: tuple[BudgetTold, ...]
    inspections: tuple[str, ...]
    photos: tuple[Shown, ...]
    checklist: str
    calibration: CalibrationTold


@dataclass(frozen=True)
class ArticleTold:
    """One article over all drops of the report."""

    name: str
    version: str
    drops: str
    damage: str
    after: str
    energy: str
    highest: str
    found: str
    where: str


@dataclass(frozen=True)
class Contents:
    """All that a report tells, in its order."""

    title: str
    count: str
    outcomes: str
    first_utc: str
    last_utc: str
    written: str
    software: str
    caution: str
    requirement: tuple[tuple[str, str], ...]
    rule: str
    drops: tuple[DropTold, ...]
    unreadable: tuple[tuple[str, str], ...]
    closures: Closures
    closures_picture: Picture | None
    ledger_head: Row
    ledger: tuple[Row, ...]
    corrections: tuple[str, ...]
    articles_told: str
    articles: tuple[ArticleTold, ...]
    questions: tuple[str, ...]
    decides: str
    definitions: tuple[tuple[str, str], ...]
    traces: tuple[Trace, ...]
