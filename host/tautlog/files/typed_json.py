"""JSON objects of a known kind: what the files of a campaign hold, read strictly.

A name that lacks, that nobody knows, or whose value is of another kind is refused with its
name, what was seen and what was expected.
"""

from __future__ import annotations

from dataclasses import MISSING, fields
from functools import cache
from typing import TYPE_CHECKING, TypeVar, get_args, get_type_hints

from tautlog.errors import JsonError
from tautlog.model.names import short

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Kind = TypeVar("Kind", bound="DataclassInstance")
_WORDS = {str: "a text", int: "a whole number", float: "a number", bool: "true or false"}


def built(kind: type[Kind], told: object) -> Kind:
    """An object of a dataclass, of what a JSON object says.

    Parameters
    ----------
    kind : type
        Dataclass of texts, numbers and whole numbers; what has a default may lack, and what may
        be None may be null. Its own checks follow.
    told : object
        As `strict_json.read_json` returned it.

    Raises
    ------
    ValueError
        With the name, what was seen and what was expected.
    """
    if not isinstance(told, dict):
        raise JsonError(f"expected one JSON object, seen {short(told, 40)}")
    hints = _hints(kind)
    known = {one.name: one for one in fields(kind)}
    for name in told:
        if name not in known:
            allowed = ", ".join(known)
            raise JsonError(f"{short(name)} is no name of it; allowed are {allowed}")
    for name, one in known.items():
        if name not in told and one.default is MISSING and one.default_factory is MISSING:
            raise JsonError(f"{name} lacks; expected is {_expected(hints[name])}")
    for name, value in told.items():
        if not _fits(value, hints[name]):
            raise JsonError(f"{name} = {short(value, 40)}: allowed is {_expected(hints[name])}")
    return kind(**told)


@cache
def _hints(kind: type) -> dict[str, type]:
    """Types of a dataclass's fields; a ledger has thousands of lines of one kind."""
    return get_type_hints(kind)


def _kinds(hint: type) -> tuple[type, ...]:
    return get_args(hint) or (hint,)


def _fits(value: object, hint: type) -> bool:
    kinds = _kinds(hint)
    if isinstance(value, bool):
        return bool in kinds
    return isinstance(value, kinds) or (float in kinds and isinstance(value, int))


def _expected(hint: type) -> str:
    words = [_WORDS[one] for one in _kinds(hint) if one in _WORDS]
    return " or ".join([*words, "null"] if type(None) in _kinds(hint) else words)
