"""Fields: numbers as a page shows them in its fields, and as they are typed there.

A field bears the unit of display in its label, and a bare number is in that unit; an entry with
another unit is taken as it says. A form brings the units of the page that was filled in, for those
of campaign.toml may have changed since. What is kept is SI.
"""

from __future__ import annotations

from collections.abc import Mapping

from tautlog.errors import QuantityError
from tautlog.model.display_units import SI, Units, units_named
from tautlog.model.quantities import Quantity
from tautlog.model.units import is_bare
from tautlog.model.verdict_words import plain_number

UNITS = "units"  # of a page, in a field that nobody sees


def number_in(name: str, text: str, quantity: Quantity, units: Units = SI) -> float | None:
    """A number of a quantity, as typed into a field of a page in some units.

    A bare number is in the unit that the label of its field names, any other as it says.

    Raises
    ------
    QuantityError
        If it is no number with a unit of the quantity, or out of range.
    """
    if not text.strip():
        return None
    try:
        return quantity.typed(with_unit(text, quantity.unit, units))
    except QuantityError as problem:
        raise QuantityError(f"{name} = {problem}") from problem


def with_unit(text: str, si: str, units: Units) -> str:
    """A typed number with its unit, which is that of its field if it is bare."""
    unit = units.of(si).name
    return f"{text.strip()} {unit}" if unit != si and is_bare(text) else text


def units_of_form(texts: Mapping[str, str]) -> Units:
    """The units in which a page's fields were labelled; SI, as their names say, if it is silent.

    Raises
    ------
    QuantityError
        If they are not known.
    """
    said = texts.get(UNITS, "")
    return units_named(said.split(",")) if said else SI


def shown_in_field(value: float | None, si: str, units: Units) -> str:
    """A value as a field shows it: with four digits, in SI as it is; "" for None."""
    if value is None:
        return ""
    return f"{value:g}" if units.of(si).name == si else plain_number(value, si, units)


def typed_again(texts: Mapping[str, str], name: str, si: str, units: Units) -> str:
    """What was typed into a field, for a page that is shown in other units by now."""
    text = texts.get(name, "")
    try:
        before = units_of_form(texts)
    except QuantityError:
        return text
    same = before.of(si) == units.of(si)
    return text if same or not is_bare(text) else f"{text.strip()} {before.of(si).name}"
