"""Key: what people may state under one name, declared where the value is kept.

A field of a frozen dataclass carries its key as metadata. Reading, checking, the commented
example and the list of what is allowed all come from it, so that nothing is declared twice.
Plain dataclasses are the least that does it. To start Python and declare 13 sections took
0.11 s with them, 0.19 s with msgspec, 0.26 s with attrs and cattrs, 0.51 s with pydantic (the
best of nine runs; a bare start 0.03 s), and none of the others names the line of a mistake.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, replace
from functools import cache

from tautlog.model.names import short
from tautlog.model.quantities import Quantity
from tautlog.model.timestamp import day_problem

LARGEST = 1_000_000
COUNT = (0, LARGEST)  # of what is counted
_METADATA = "key"
_WORDS = {str: "a text in quotes", int: "a whole number"}


@dataclass(frozen=True)
class Key:
    """One key; its kind follows from what bounds it.

    Attributes
    ----------
    meaning : str
        In words, for the comment above it.
    example : str, float, int or None
        What a new file holds; None for the field's default.
    quantity : Quantity or None
        Of a number: its unit and range.
    choices : tuple of str
        Of a text: what is allowed, when only some are.
    whole : (int, int) or None
        Of a whole number: the least and the most.
    day : bool
        A text that is a day, or empty where nobody said.
    optional : bool
        A new file shows it as a comment.
    former : str
        Its name in files of old, which is read all the same; "" for none.
    name : str
        That of its field.
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
        """What it must be."""
        if self.quantity is not None:
            return float
        return str if self.whole is None else int

    def problem(self, value: object) -> str:
        """Say what is allowed, or "" where nothing is wrong with a value."""
        if self.quantity is not None:
            return self.quantity.problem(value)
        if isinstance(value, bool) or not isinstance(value, self.kind):
            return f"allowed is {_WORDS[self.kind]}"
        if self.choices and value not in self.choices:
            return f"allowed is {' or '.join(self.choices)}"
        if self.day and value:
            return day_problem(value)
        if self.whole is not None and isinstance(value, int):
            least, most = self.whole
            return "" if least <= value <= most else f"allowed is {least} to {most}"
        return ""

    def mistake(self, value: object, read_as: str = "") -> str:
        """The same with the value in front, and the name as it was read."""
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
    """Metadata of a field that people state; see `Key`."""
    return {_METADATA: Key(meaning, example, quantity, choices, whole, day, optional, former)}


@cache
def keys_of(kind: type) -> Mapping[str, Key]:
    """Keys of a dataclass by their names, in its order; fields that nobody states have none."""
    found = {}
    for one in fields(kind):
        key = one.metadata.get(_METADATA)
        if isinstance(key, Key):
            default = None if one.default is MISSING else one.default
            example = default if key.example is None else key.example
            found[one.name] = replace(key, name=one.name, example=example)
    return found
