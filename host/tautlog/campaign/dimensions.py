"""Dimensions: those of the articles that campaign.toml states, and their readings after a drop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tautlog.errors import CampaignError, QuantityError
from tautlog.model import quantities as q
from tautlog.model.dimensions import Measured
from tautlog.model.inspection import WHOLE
from tautlog.model.key import stated
from tautlog.model.names import meant

MOST_CHANGE = 2.0  # after over before, either way: more is another unit; own choice


@dataclass(frozen=True)
class Dimension:
    """A dimension of an article that inspections measure."""

    name: str = field(
        metadata=stated("Name of the dimension, as in `inspect --dimension`.", "bridle-1 length")
    )
    article: str = field(
        default="", metadata=stated("Article that it belongs to, as in [[article]].", "bridle-1")
    )
    before_mm: float | None = field(
        default=None,
        metadata=stated("Measured before the first drop.", 312.0, q.DIMENSION_MM),
    )
    expanded_u_mm: float | None = field(
        default=None,
        metadata=stated(
            "Expanded uncertainty (k = 2) of the instrument's reading.", 0.1, q.DIMENSION_U_MM
        ),
    )
    limit_mm: float | None = field(
        default=None,
        metadata=stated("Largest growth that the criterion allows.", 0.5, q.GROWTH_MM),
    )
    instrument: str = field(
        default="", metadata=stated("Instrument, and its certificate.", "caliper 3")
    )

    def lacks(self, *, limit: bool) -> tuple[str, ...]:
        """Keys without which no growth is told; with `limit`, none is judged."""
        needed = ("before_mm", "expanded_u_mm", *(("limit_mm",) if limit else ()))
        return tuple(name for name in needed if getattr(self, name) is None)


def inspected(
    criterion: Sequence[str],
    dimensions: tuple[Dimension, ...],
    article: str,
    typed: Mapping[str, str],
    finding: str,
) -> tuple[Measured, ...]:
    """`readings` of an inspection, with all that the criterion needs for what was found.

    An article is whole only if each of its dimensions that the criterion names was measured. One
    that is not whole may be entered without any.

    Parameters
    ----------
    criterion : sequence of str
        Names of the dimensions that the criterion is judged by, of any article; none for a
        criterion that people judge.
    finding : str
        What the inspection found.

    Raises
    ------
    CampaignError, QuantityError
        As `readings`; or if a dimension of the criterion was not measured.
    """
    found = readings(dimensions, article, typed)
    if not criterion or finding not in WHOLE:
        return found
    needed = [one.name for one in dimensions if one.article == article and one.name in criterion]
    if not needed:
        raise CampaignError(
            f"{finding!r}: the criterion is judged by {', '.join(criterion)}, and none of them is "
            f"of article {article!r}: state its [[dimension]], or enter not-inspected"
        )
    lacking = [name for name in needed if name not in typed]
    if lacking:
        raise CampaignError(
            f"{finding!r}: the criterion is judged by {', '.join(lacking)}, not measured here: "
            f"give --dimension {lacking[0]}=MM, or enter not-inspected"
        )
    return found


def readings(
    dimensions: tuple[Dimension, ...], article: str, typed: Mapping[str, str]
) -> tuple[Measured, ...]:
    """Readings after a drop, each beside what campaign.toml states of its dimension.

    Parameters
    ----------
    dimensions : tuple of Dimension
        Those of the campaign.
    article : str
        The article that was dropped.
    typed : mapping of str to str
        Readings by the name of the dimension, as typed: in mm, or with a unit.

    Raises
    ------
    CampaignError, QuantityError
        If the article has no such dimension, it is not wholly stated, or the reading is absurd.
    """
    own = {one.name: one for one in dimensions if one.article == article}
    found = []
    for name, text in typed.items():
        one = own.get(name)
        if one is None:
            what = meant(name, tuple(own)) if own else "campaign.toml states none for it"
            raise CampaignError(f"article {article!r} has no dimension {name!r}; {what}")
        if one.before_mm is None or one.expanded_u_mm is None:
            raise CampaignError(
                f"[[dimension]] {name!r}: state {' and '.join(one.lacks(limit=False))}, else no "
                "growth is told"
            )
        try:
            after_mm = q.DIMENSION_MM.typed(text)
        except QuantityError as problem:
            raise QuantityError(f"{name}: {problem}") from problem
        if not one.before_mm / MOST_CHANGE <= after_mm <= MOST_CHANGE * one.before_mm:
            raise CampaignError(
                f"{name} = {after_mm:g} mm: before it was {one.before_mm:g} mm; mm are expected"
            )
        found.append(Measured(name, one.before_mm, after_mm, one.expanded_u_mm, one.limit_mm))
    return tuple(found)
