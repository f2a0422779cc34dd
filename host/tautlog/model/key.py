"""Key: a name in campaign.toml and its allowed values, declared where the value is kept.

A field of a frozen dataclass carries its key as metadata. Reading, checking, the commented
example and the list of allowed values come from it, so that nothing is declared twice. Plain
dataclasses suffice. To start Python and declare 13 sections took 0.11 s with them, 0.19 s with
msgspec, 0.26 s with attrs and cattrs, 0.51 s with pydantic (best of nine runs; a bare start 0.03
s), and none of the others reports the line of a mistake.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, replace
from functools import cache
from typing import Any

from tautlog.errors import QuantityError
from tautlog.model.names import short
from tautlog.model.quantities import Quantity
from tautlog.model.timestamp import day_problem
from tautlog.model.units import is_bare

LARGEST = 1_000_000
COUNT = (0, LARGEST)  # range of a count
_METADATA = "key"
_WORDS = {str: "text in quotes", int: "a whole number"}


@dataclass(frozen=True)
class Key:
    """One key; its kind follows from its bounds.

    Attributes
    ----------
    meaning : str
        The comment above it in a new file.
    example : str, float, int or None
        Its value in a new file; None for the field's default.
    quantity : Quantity or None
        Unit and range of a number.
    choices : tuple of str
        Allowed texts; empty if any text is allowed.
    whole : (int, int) or None
        Least and largest value of a whole number.
    day : bool
        The text is a day, or empty if not stated.
    optional : bool
        A new file shows it as a comment.
    former : str
        Its name in old files, which is still read; "" for none.
    name : str
        Name of its field.
    """

    meaning: str
    example: str | float | int | None = None
    quantity: Quantity | None = None
    choices: tuple[str, ...] = ()
    whole: tuple[int, int] | None = None
    day: bool = False
    optional: bool = False
    former: str = ""
    name: str = ""

    @property
    def kind(self) -> type[float] | type[int] | type[str]:
        """Type that the value must have."""
        if self.quantity is not None:
            return float
        return str if self.whole is None else int

    def problem(self, value: object) -> str:
        """Say what is allowed; "" if the value is."""
        if self.quantity is not None:
            return self.quantity.problem(value)
        if isinstance(value, bool) or not isinstance(value, self.kind):
            return f"allowed is {_WORDS[self.kind]}"
        if self.choices and value not in self.choices:
            named = (choice or "none (an empty text)" for choice in self.choices)
            return f"allowed is {' or '.join(named)}"
        if self.day and value:
            return day_problem(value)
        if self.whole is not None and isinstance(value, int):
            least, most = self.whole
            return "" if least <= value <= most else f"allowed is {least} to {most}"
        return ""

    def typed(self, value: Any) -> Any:
        """A value in a file that people write: text with a unit becomes its number.

        A bare number in quotes stays text, and is a mistake: it is in no doubt a number, but the
        quotes say that a unit was meant.

        Raises
        ------
        QuantityError
            If such a text is not a number with a unit of the quantity.
        """
        if self.quantity is not None and isinstance(value, str) and not is_bare(value):
            return self.quantity.typed(value)
        return value

    def typing_mistake(self, value: object, read_as: str = "") -> str:
        """As `mistake`, for a value that a person typed."""
        try:
            return self.mistake(self.typed(value), read_as)
        except QuantityError as problem:
            return f"{read_as or self.name} = {problem}"

    def mistake(self, value: object, read_as: str = "") -> str:
        """The same, with the name as it was read and the value in front."""
        problem = self.problem(value)
        return f"{read_as or self.name} = {short(value)}: {problem}" if problem else ""


def stated(
    meaning: str,
    example: str | float | int | None = None,
    quantity: Quantity | None = None,
    *,
    choices: tuple[str, ...] = (),
    whole: tuple[int, int] | None = None,
    day: bool = False,
    optional: bool = False,
    former: str = "",
) -> dict[str, Key]:
    """Metadata of a field that a file may state; see `Key`."""
    return {_METADATA: Key(meaning, example, quantity, choices, whole, day, optional, former)}


@cache
def keys_of(kind: type) -> Mapping[str, Key]:
    """Keys of a dataclass by name, in its order; fields without a key are left out."""
    found = {}
    for part in fields(kind):
        key = part.metadata.get(_METADATA)
        if isinstance(key, Key):
            default = None if part.default is MISSING else part.default
            example = default if key.example is None else key.example
            found[part.name] = replace(key, name=part.name, example=example)
    return found
