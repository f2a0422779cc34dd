"""Annex: all figures of all drops, and the parts of their uncertainties, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.display.report.contents import BudgetTable, DropSection, Matrix, Row

SIDE_BY_SIDE = 8  # drops in one table: more do not fit on a page
NONE = "-"


def figure_tables(drops: Sequence[DropSection]) -> tuple[Matrix, ...]:
    """Every figure that any of the drops shows, a column for each drop."""
    return tuple(_figures(some) for some in _chunks(drops))


def uncertainty_tables(drops: Sequence[DropSection]) -> tuple[Matrix, ...]:
    """Every figure with an uncertainty, with its parts, a column for each drop."""
    found = []
    for some in _chunks(drops):
        names = dict.fromkeys(budget.figure for drop in some for budget in drop.budgets)
        found += [_budgets(name, some) for name in names]
    return tuple(found)


def _head(drop: DropSection) -> str:
    return f"drop {drop.number}"


def _marks(drops: Sequence[DropSection]) -> str:
    """The rehearsals and imports among the columns."""
    found = []
    for mark in dict.fromkeys(drop.mark for drop in drops if drop.mark):
        mine = [str(drop.number) for drop in drops if drop.mark == mark]
        found.append(mark if len(mine) == len(drops) else f"{mark}: {', '.join(mine)}")
    return f" ({'; '.join(found)})" if found else ""


def _chunks(drops: Sequence[DropSection]) -> list[Sequence[DropSection]]:
    return [drops[at : at + SIDE_BY_SIDE] for at in range(0, len(drops), SIDE_BY_SIDE)]


def _figures(drops: Sequence[DropSection]) -> Matrix:
    values = [{label: value for _, label, value in drop.figures} for drop in drops]
    labels = dict.fromkeys(label for one in values for label in one)
    return Matrix(
        f"All figures{_marks(drops)}",
        ("figure", *map(_head, drops)),
        tuple((label, *(one.get(label, NONE) for one in values)) for label in labels),
        1,
    )


def _budgets(figure: str, drops: Sequence[DropSection]) -> Matrix:
    """One figure: its parts by name, kind and basis, as they are in any of the drops."""
    mine = [_named(figure, drop) for drop in drops]
    parts = dict.fromkeys(
        (part.name, part.kind, part.basis) for one in mine if one for part in one.parts
    )
    rows: list[Row] = [(*key, *(_u(one, key) for one in mine)) for key in parts]
    rows.append(("figure", "", "", *(one.value if one else NONE for one in mine)))
    rows.append(
        ("expanded U", "", "k in brackets", *(_expanded(one) if one else NONE for one in mine))
    )
    head = ("source", "kind", "basis", *map(_head, drops))
    unit = next((one.unit for one in mine if one), "")
    return Matrix(
        f"{figure}{f', {unit}' if unit else ''}: standard u{_marks(drops)}", head, tuple(rows), 3
    )


def _named(figure: str, drop: DropSection) -> BudgetTable | None:
    return next((budget for budget in drop.budgets if budget.figure == figure), None)


def _u(budget: BudgetTable | None, key: tuple[str, str, str]) -> str:
    if budget is None:
        return NONE
    found = [part.u for part in budget.parts if (part.name, part.kind, part.basis) == key]
    return found[0] if found else NONE


def _expanded(budget: BudgetTable) -> str:
    return f"{budget.expanded} ({budget.k})"
