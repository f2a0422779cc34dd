"""Contents of a report: its texts, tables, curves and pictures.

`gathering` fills it; `page` and `paper` show the same content. What people typed stays as
typed.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.archive.photos import Thumbnail
from tautlog.display.report.scale import Scale
from tautlog.model.display_units import Units

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
    unit, newton_per_unit : str, float
        The unit in which the script shows all forces.
    """

    time_s: tuple[float, ...]
    raw_n: tuple[float | None, ...]
    force_n: tuple[float | None, ...]
    expected_n: tuple[tuple[float | None, ...], tuple[float | None, ...]] | None
    label: str
    target_n: float | None
    limit_n: float | None
    unit: str = "N"
    newton_per_unit: float = 1.0


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
    unit: str
    k: str
    parts: tuple[BudgetPart, ...]


@dataclass(frozen=True)
class Matrix:
    """A table with a column for each drop: title, head and rows; `fixed` columns come first."""

    title: str
    head: Row
    rows: tuple[Row, ...]
    fixed: int


@dataclass(frozen=True)
class ArticleAnswer:
    """Whether one article is proven; `kind` is a key of `answer.SHAPES`."""

    name: str
    kind: str
    shape: str
    word: str
    text: str


@dataclass(frozen=True)
class Answer:
    """What was to be proven, and whether it was; see `answer`."""

    question: str
    kind: str
    shape: str
    word: str
    articles: tuple[ArticleAnswer, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class StatementText:
    """What is stated of the part, ready to read; `outcomes` has a row for each article."""

    word: str
    text: str
    why_not: tuple[str, ...]
    shown: str
    method: str
    outcomes: tuple[Row, ...]
    assumptions: tuple[str, ...]
    caution: str
    decides: str


OUTCOMES_HEAD = ("article", "outcome", "why", "drops")


@dataclass(frozen=True)
class Overlay:
    """All drops over one another, for the page's script.

    Attributes
    ----------
    time_ms : tuple of float
        Time since the line came taut.
    labels : tuple of str
        One for each curve: number, name, peak and verdict.
    force_n : tuple of tuples
        One for each curve; None outside its record.
    target_n, limit_n : float or None
        If they are the same for all drops.
    unit, newton_per_unit : str, float
        As in `PlotTrace`.
    """

    time_ms: tuple[float, ...]
    labels: tuple[str, ...]
    force_n: tuple[tuple[float | None, ...], ...]
    target_n: float | None
    limit_n: float | None
    unit: str = "N"
    newton_per_unit: float = 1.0


@dataclass(frozen=True)
class Item:
    """Something that a table of the report lists: an instrument, a person, a required field.

    Attributes
    ----------
    what : str
        Its name.
    facts : tuple of str
        What is known of it, one after the other.
    drops : str
        Numbers of the drops that it concerns, or "".
    """

    what: str
    facts: tuple[str, ...]
    drops: str = ""


@dataclass(frozen=True)
class Questions:
    """What is open, by kind."""

    not_proven: tuple[str, ...]
    not_inspected: tuple[str, ...]
    not_stated: tuple[str, ...]


@dataclass(frozen=True)
class DropSection:
    """One drop; every text is ready to read, "" if there is nothing to say.

    `mark` is that of a rehearsal or an import. `proposed` and `decided` are words of the test
    verdict; `proposed_shape` and `decided_shape` tell them apart without colour.
    """

    number: int
    name: str
    mark: str
    day: str
    article: str
    mass: str
    height: str
    peak: str
    load: str
    words: VerdictTexts
    scale: Scale | None
    proposed_shape: str
    decided_shape: str
    status: str
    finding: str
    lines: tuple[str, ...]
    notes: tuple[str, ...]
    decision: DecisionText | None
    override: OverrideText | None
    set_up: str
    plan: tuple[str, ...]
    picture: Picture
    flight: Picture | None
    against_flight: tuple[str, ...]
    reasons: tuple[str, ...]
    headline: tuple[tuple[str, str], ...]  # name, value with unit
    figures: tuple[tuple[str, str, str], ...]  # key, label, value
    budgets: tuple[BudgetTable, ...]
    inspections: tuple[str, ...]
    photos: tuple[Thumbnail, ...]
    checklist: str


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
    at_load: str
    found: str
    where: str


def articles_head(units: Units) -> Row:
    """The columns of the articles compared."""
    return (
        *("article", "version", "drops here", units.label("first damage, N"), "ms after onset"),
        *(units.label("energy, J"), units.label("highest, N")),
        *("ms above 50 / 75 / 90 / 100 % of target", "found last", "where it gave way"),
    )


@dataclass(frozen=True)
class Contents:
    """The content of a report, in order.

    Attributes
    ----------
    title, number : str
        What it is about, and what tells it from every other report.
    mark : str
        That of its records, if all are rehearsals or if any is.
    """

    title: str
    number: str
    mark: str
    count: str
    outcomes: str
    first_utc: str
    last_utc: str
    written: str
    software: str
    caution: str
    answer: Answer
    statement: StatementText | None
    requirement: tuple[tuple[str, str], ...]
    rule: str
    only_items: str
    drops: tuple[DropSection, ...]
    unreadable: tuple[tuple[str, str], ...]
    overlay: Overlay
    overlay_picture: Picture | None
    deviations: tuple[str, ...]  # that the program finds
    stated_deviations: tuple[str, ...]  # that people stated
    questions: Questions
    instruments: tuple[Item, ...]
    people: tuple[Item, ...]
    environment: str
    fields: tuple[Item, ...]
    closures: ClosureSeries
    closures_picture: Picture | None
    ledger_head: Row
    ledger: tuple[Row, ...]
    corrections: tuple[str, ...]
    chain: str  # what the head of the campaign's chain is for, and the head; or ""
    articles_caption: str
    articles_head: Row
    articles: tuple[ArticleRow, ...]
    units: str  # which units are shown, with each factor and its source; "" for SI
    decides: str
    figures: tuple[Matrix, ...]
    uncertainty: tuple[Matrix, ...]
    definitions: tuple[tuple[str, str, str], ...]  # key, label, definition
    traces: tuple[PlotTrace, ...]
