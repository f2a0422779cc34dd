"""Contents of a report: its texts, tables, curves and pictures.

`gathering` fills it; `page` and `paper` show the same content. What people typed stays as
typed.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.archive.photos import Thumbnail

Row = tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A picture as an SVG element, with a caption for those who cannot see it."""

    svg: str
    caption: str


@dataclass(frozen=True)
class PlotTrace:
    """A curve for the page's script; None where a sample is missing.

    Attributes
    ----------
    time_s, raw_n, force_n : tuple of float
        Time since the release; unfiltered and filtered force.
    expected_n : tuple of (tuple, tuple) or None
        Lower and upper end of the prediction.
    label : str
        Name of the filtered curve.
    target_n, limit_n : float or None
        Target and limit of the drop.
    """

    time_s: tuple[float, ...]
    raw_n: tuple[float | None, ...]
    force_n: tuple[float | None, ...]
    expected_n: tuple[tuple[float | None, ...], tuple[float | None, ...]] | None
    label: str
    target_n: float | None
    limit_n: float | None


@dataclass(frozen=True)
class ClosureSeries:
    """Impulse and rest closures of all drops; drops are counted from 1."""

    number: tuple[int, ...]
    impulse: tuple[float | None, ...]
    rest: tuple[float | None, ...]


@dataclass(frozen=True)
class VerdictTexts:
    """Verdicts in words, without the subject: the heading names it."""

    record: str
    load: str
    trace: str
    test: str


@dataclass(frozen=True)
class DecisionText:
    """The decision of a named person, when and why, and what was proposed."""

    by: str
    utc: str
    reason: str
    words: str
    proposed_words: str


@dataclass(frozen=True)
class OverrideText:
    """Who overrode a refusal, why, and what had refused."""

    by: str
    reason: str
    refused: str


@dataclass(frozen=True)
class BudgetPart:
    """One contribution to an uncertainty."""

    name: str
    u: str
    kind: str
    basis: str


@dataclass(frozen=True)
class BudgetTable:
    """The uncertainty budget of one figure."""

    figure: str
    value: str
    expanded: str
    k: str
    parts: tuple[BudgetPart, ...]


@dataclass(frozen=True)
class CalibrationRow:
    """The calibration behind the forces of a drop."""

    slope: str
    u: str
    covered: str
    date: str
    note: str


@dataclass(frozen=True)
class DropSection:
    """One drop; every text is ready to read, "" if there is nothing to say."""

    name: str
    article: str
    mass: str
    height: str
    peak: str
    words: VerdictTexts
    status: str
    finding: str
    lines: tuple[str, ...]
    notes: tuple[str, ...]
    decision: DecisionText | None
    override: OverrideText | None
    set_up: str
    plan: tuple[str, ...]
    picture: Picture
    reasons: tuple[str, ...]
    figures: tuple[tuple[str, str, str], ...]  # key, label, value
    budgets: tuple[BudgetTable, ...]
    inspections: tuple[str, ...]
    photos: tuple[Thumbnail, ...]
    checklist: str
    calibration: CalibrationRow


@dataclass(frozen=True)
class ArticleRow:
    """One article, over all drops of the report."""

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
    """The content of a report, in order."""

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
    drops: tuple[DropSection, ...]
    unreadable: tuple[tuple[str, str], ...]
    closures: ClosureSeries
    closures_picture: Picture | None
    ledger_head: Row
    ledger: tuple[Row, ...]
    corrections: tuple[str, ...]
    articles_caption: str
    articles: tuple[ArticleRow, ...]
    questions: tuple[str, ...]
    decides: str
    definitions: tuple[tuple[str, str, str], ...]  # key, label, definition
    traces: tuple[PlotTrace, ...]
