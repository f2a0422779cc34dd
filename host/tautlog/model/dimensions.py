"""Dimensions: what grew on an article, judged from figures with their uncertainty."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from tautlog.model.display_units import SI, Units
from tautlog.model.inspection import WHOLE
from tautlog.model.shown import shown

WITHIN, BEYOND, UNCLEAR, NO_LIMIT = "within", "beyond", "unclear", "no-limit"
_WORDS = {
    WITHIN: "within its limit",
    BEYOND: "beyond its limit",
    UNCLEAR: "within or beyond its limit cannot be told within U",
    NO_LIMIT: "no limit is stated",
}
SAME_MM = 1e-9  # two lengths of these figures are one; far below any instrument


@dataclass(frozen=True)
class Measured:
    """A dimension of an article before and after a drop.

    Attributes
    ----------
    name : str
        Its name, such as length, hole or set.
    before_mm, after_mm : float
        As measured, with the same instrument.
    expanded_u_mm : float
        Expanded uncertainty (k = 2) of each of them.
    limit_mm : float or None
        Largest growth that the criterion allows; None if none is stated.
    """

    name: str
    before_mm: float
    after_mm: float
    expanded_u_mm: float
    limit_mm: float | None = None

    @property
    def growth_mm(self) -> float:
        """After minus before."""
        return self.after_mm - self.before_mm

    @property
    def growth_expanded_u_mm(self) -> float:
        """sqrt(2) U, of two independent readings (JCGM 100:2008, 5.1.2).

        What both have in common, as a wrong scale, drops out of the difference; to leave it in
        is on the cautious side.
        """
        return math.sqrt(2.0) * self.expanded_u_mm

    @property
    def word(self) -> str:
        """Within, beyond, unclear or no-limit.

        The limit is guarded by U on both sides: conformity and non-conformity are each told only
        where they are proven (ISO 14253-1, from memory; JCGM 106:2012, 8.3, guard band w = U).
        A pull shortens nothing: what surely shrank by more than it may grow was read wrong, or is
        another article, and nothing is told by it.
        """
        if self.limit_mm is None:
            return NO_LIMIT
        if self.growth_mm + self.growth_expanded_u_mm < -self.limit_mm:
            return UNCLEAR
        if self.growth_mm + self.growth_expanded_u_mm <= self.limit_mm + SAME_MM:
            return WITHIN
        if self.growth_mm - self.growth_expanded_u_mm > self.limit_mm:
            return BEYOND
        return UNCLEAR

    @property
    def text(self) -> str:
        """Before, after, growth and its limit, in words and mm."""
        return self.said(SI)

    def said(self, units: Units) -> str:
        """As `text`, in other units."""
        growth = shown(
            self.growth_mm, "mm", (self.limit_mm,), units, spread=self.growth_expanded_u_mm, least=2
        )
        before, after = (length_text(mm, units) for mm in (self.before_mm, self.after_mm))
        limit = "" if self.limit_mm is None else f", limit {growth.level()}"
        return (
            f"{self.name}: before {before}, after {after}, growth {growth.signed_interval_text} "
            f"(k = 2){limit}: {_WORDS[self.word]}"
        )


def against_figures(finding: str, measured: Sequence[Measured]) -> str:
    """Why a finding that the article is whole does not stand beside its figures; or ""."""
    if finding not in WHOLE:
        return ""
    beyond = [one for one in measured if one.word == BEYOND]
    unclear = [one for one in measured if one.word == UNCLEAR]
    if beyond:
        advice = "enter deformed-beyond, parted or slipped"
    elif unclear:
        advice = "measure more finely, or enter not-inspected with these figures"
    else:
        return ""
    texts = "; ".join(one.text for one in (beyond or unclear))
    return f"{finding!r} does not agree with the figures: {texts}; {advice}"


def as_objects(measured: Sequence[Measured]) -> list[dict[str, object]]:
    """Dimensions for JSON that people and programs read; lengths in `unit`.

    `expanded_u` is that of each reading, `growth_expanded_u` that of the growth, both k = 2.
    `verdict` is "within", "beyond" or "unclear"; null where no limit is stated.
    """
    return [
        {
            "name": one.name,
            "unit": "mm",
            "before": one.before_mm,
            "after": one.after_mm,
            "expanded_u": one.expanded_u_mm,
            "growth": one.growth_mm,
            "growth_expanded_u": one.growth_expanded_u_mm,
            "limit": one.limit_mm,
            "verdict": None if one.limit_mm is None else one.word,
        }
        for one in measured
    ]


def as_text(measured: Sequence[Measured]) -> str:
    """Dimensions as a record keeps them; "" for none."""
    return json.dumps([asdict(one) for one in measured]) if measured else ""


def from_text(text: str) -> tuple[Measured, ...]:
    """Dimensions that a record keeps.

    Raises
    ------
    ValueError
        If it is none of `as_text`.
    """
    try:
        found = tuple(Measured(**one) for one in json.loads(text)) if text else ()
        for one in found:
            numbers = (one.before_mm, one.after_mm, one.expanded_u_mm, one.limit_mm or 0.0)
            if not all(math.isfinite(number) for number in numbers):
                raise ValueError("a dimension is no number")
    except (TypeError, ValueError, RecursionError) as problem:
        raise ValueError(f"dimensions cannot be read: {problem}") from problem
    return found


def length_text(length_mm: float, units: Units) -> str:
    """A length on an article, in mm as it was stated, in another unit no coarser."""
    _, _, decimals = f"{length_mm:g}".partition(".")
    return units.text(length_mm, "mm", f".{len(decimals) if decimals.isdigit() else 0}f")


def texts_of(text: str, units: Units = SI) -> tuple[str, ...]:
    """Kept dimensions in words, for people."""
    try:
        return tuple(one.said(units) for one in from_text(text))
    except ValueError:
        return ("the dimensions cannot be read",)
