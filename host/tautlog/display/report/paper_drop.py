"""Paper drop: the page of one drop. It never takes more than one.

What people typed may be long. Then letters become smaller, and in the end texts are cut and
marked; the annex has them in full.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.display.report.contents import DropSection
from tautlog.display.report.sheet import (
    INK,
    LARGE_PT,
    SMALL_PT,
    SOFT,
    TINY_PT,
    Paper,
)

RATIO = 3.7 / 9.0  # height over width of the picture
MOST_LETTERS = 9_000  # no page holds more, in the smallest letters of a whole drop
CUT = " ... (in full in the annex)"


@dataclass(frozen=True)
class Fit:
    """How a drop is made to fit: scale of letters, picture, longest text and most texts."""

    scale: float
    picture_mm: float
    letters: int
    texts: int
    whole: bool = False


FITS = (
    Fit(1.0, 70.0, 1_000_000, 1_000, whole=True),
    Fit(0.92, 62.0, 1_000_000, 1_000, whole=True),
    Fit(0.86, 54.0, 600, 12),
    Fit(0.8, 48.0, 300, 8),
    Fit(0.74, 40.0, 120, 4),
    Fit(0.7, 34.0, 60, 2),
)


def put_drop(paper: Paper, measure: Paper, drop: DropSection) -> bool:
    """Write the page of a drop; return whether everything is on it.

    Parameters
    ----------
    paper, measure : Paper
        Where it is written; a dry one, on which it is tried first.
    drop : DropSection
        The drop.
    """
    # To lay out a long text takes seconds: what is surely too long is not tried.
    tried = [one for one in FITS if not one.whole or _letters(drop) < MOST_LETTERS]
    fit = next((one for one in tried if _pages(measure, drop, one) == 1), FITS[-1])
    paper.add_page()
    _write(paper, drop, fit)
    return fit.whole


def _letters(drop: DropSection) -> int:
    """Letters of the texts that have no bound."""
    decision, override = drop.decision, drop.override
    texts = [*drop.lines, *drop.notes, *drop.plan, *drop.reasons, *drop.inspections, drop.set_up]
    texts += drop.against_flight
    texts += [decision.reason] if decision else []
    texts += [override.reason, override.refused] if override else []
    return sum(map(len, texts))


def _pages(measure: Paper, drop: DropSection, fit: Fit) -> int:
    """Pages that a drop takes."""
    measure.add_page()
    first = measure.page_no()
    _write(measure, drop, fit)
    return measure.page_no() - first + 1


def _write(paper: Paper, drop: DropSection, fit: Fit) -> None:
    paper.scale = fit.scale
    paper.start_section(paper.plain(f"Drop {drop.number}: {drop.name}"), level=0)
    paper.write_lines(_cut(f"Drop {drop.number}: {drop.name}", fit), size=LARGE_PT, bold=True)
    paper.ln(0.8)
    _verdicts(paper, drop, fit)
    for number, line in enumerate(drop.lines[:3], start=1):
        paper.write_lines(_cut(line, fit), bold=number == 2)
    if drop.scale:
        paper.ln(0.6)
        paper.bar(drop.scale, paper.l_margin, paper.epw)
    paper.points(_some(drop.notes, fit), SMALL_PT)
    if drop.override:
        told = (
            f"Refusal overridden by {drop.override.by}: {drop.override.reason}. Refused because: "
            f"{drop.override.refused}."
        )
        paper.write_lines(_cut(told, fit), size=SMALL_PT)
    paper.write_lines(_cut(drop.set_up, fit), size=SMALL_PT, hue=SOFT)
    paper.drawing(drop.picture, fit.picture_mm, RATIO)
    _ten(paper, drop)
    if drop.flight:
        paper.drawing(drop.flight, 0.75 * fit.picture_mm, RATIO)
    for label, texts in (
        ("Against flight", drop.against_flight),
        ("Against the plan", drop.plan),
        ("Reasons", drop.reasons),
        ("Inspection", drop.inspections or ("Nobody has entered an inspection.",)),
    ):
        if texts:
            paper.label(label)
            paper.points(_some(texts, fit), SMALL_PT)
    if drop.checklist:
        paper.write_lines(_cut(f"Checklist: {drop.checklist}", fit), size=SMALL_PT)
    if drop.photos:
        paper.photos(drop.photos[: max(fit.texts // 2, 1)], 38.0 * fit.scale)
    paper.scale = 1.0


def _verdicts(paper: Paper, drop: DropSection, fit: Fit) -> None:
    """Proposal and decision, each in its own frame and with its own name."""
    width = paper.epw / 2.0 - 1.5
    top, lowest = paper.get_y(), 0.0
    proposed = (f"{drop.proposed_shape} {drop.words.test}", "")
    decided = ("not decided", "")
    if drop.decision:
        one = drop.decision
        decided = (
            f"{drop.decided_shape} {one.words}",
            f"{one.by}, {one.utc}: {one.reason}. Proposed at that time: {one.proposed_words}.",
        )
    heads = ("PROPOSED BY THE PROGRAM", "DECIDED BY A PERSON")
    lefts = (paper.l_margin, paper.l_margin + width + 3.0)
    for left, head, (word, text) in zip(lefts, heads, (proposed, decided), strict=True):
        paper.set_xy(left + 2.0, top + 1.2)
        paper.write_lines(head, size=TINY_PT, hue=SOFT, width=width - 4.0)
        paper.write_lines(word, size=11.0, bold=True, width=width - 4.0)
        if text:
            paper.write_lines(_cut(text, fit), size=SMALL_PT, width=width - 4.0)
        lowest = max(lowest, paper.get_y() + 1.0)
    if lowest > top:
        for left in lefts:
            paper.rect(left, top, width, lowest - top)
            paper.set_draw_color(*INK)
            paper.set_line_width(0.7)
            paper.line(left, top, left + width, top)
            paper.set_line_width(0.15)
            paper.set_draw_color(201, 209, 218)
    paper.set_xy(paper.l_margin, lowest + 1.0)


def _ten(paper: Paper, drop: DropSection) -> None:
    """The ten figures in two columns."""
    half = -(-len(drop.headline) // 2)
    rows = [
        (*left, *right)
        for left, right in zip(drop.headline[:half], drop.headline[half:], strict=True)
    ]
    paper.label("Ten figures")
    paper.rows((), rows, (5, 3.4, 5, 3.4), SMALL_PT)


def _cut(text: str, fit: Fit) -> str:
    return text if len(text) <= fit.letters else f"{text[: fit.letters]}{CUT}"


def _some(texts: Sequence[str], fit: Fit) -> list[str]:
    """As many texts as fit, and how many more there are."""
    found = [_cut(text, fit) for text in texts[: fit.texts]]
    more = len(texts) - len(found)
    return [*found, f"{more} more{CUT}"] if more else found
