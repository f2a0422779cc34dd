"""Tables: what a procedure states, and where people write."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from tautlog.display.report.instruments import NOT_STATED
from tautlog.model.key import keys_of

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

BLANK = "\n "  # two lines high, for a pen


@dataclass(frozen=True)
class Table:
    """A table of a procedure.

    Attributes
    ----------
    head : tuple of str
        Column heads; empty for none.
    rows : tuple of tuple of str
        Cells; `BLANK` where people write.
    widths : tuple of float
        Of the columns, in any unit.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]


def stated_table(what: str, section: DataclassInstance) -> Table:
    """Every key of a section with its value and the meaning that its file gives."""
    keys = keys_of(type(section))
    rows = []
    for part in fields(section):
        if part.name not in keys:
            continue
        value = getattr(section, part.name)
        shown = NOT_STATED if value in (None, "") else f"{value:g}" if _number(value) else value
        rows.append((part.name, str(shown), keys[part.name].meaning))
    return Table((what, "value", "meaning"), tuple(rows), (1.8, 1.2, 6))


def _number(value: object) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool)
