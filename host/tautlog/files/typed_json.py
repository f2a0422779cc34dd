"""JSON objects of a known kind, from the files of a campaign, read strictly.

A missing name, an unknown name and a value of another kind are refused; the error gives the
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
_WORDS = {str: "text", int: "a whole number", float: "a number", bool: "true or false"}


def built(kind: type[Kind], content: object) -> Kind:
    """Build an object of a dataclass from a JSON object.

    Parameters
    ----------
    kind : type
        Dataclass of texts, numbers and whole numbers. A field with a default may be missing; a
        field that may be None may be null. Its own checks follow.
    content : object
        The value that `strict_json.read_json` returned.

    Raises
    ------
    ValueError
        Gives the name, what was seen and what was expected.
    """
    if not isinstance(content, dict):
        raise JsonError(f"expected one JSON object, got {short(content, 40)}")
    hints = _hints(kind)
    known = {part.name: part for part in fields(kind)}
    for name in content:
        if name not in known:
            allowed = ", ".join(known)
            raise JsonError(f"unknown name {short(name)}; allowed are {allowed}")
    for name, part in known.items():
        if name not in content and part.default is MISSING and part.default_factory is MISSING:
            raise JsonError(f"{name} is missing; expected {_expected(hints[name])}")
    for name, value in content.items():
        if not _fits(value, hints[name]):
            raise JsonError(f"{name} = {short(value, 40)}: expected {_expected(hints[name])}")
    return kind(**content)


@cache
def _hints(kind: type) -> dict[str, type]:
    """Types of a dataclass's fields; cached, for ledgers of thousands of lines."""
    return get_type_hints(kind)


def _kinds(hint: type) -> tuple[type, ...]:
    return get_args(hint) or (hint,)


def _fits(value: object, hint: type) -> bool:
    kinds = _kinds(hint)
    if isinstance(value, bool):
        return bool in kinds
    return isinstance(value, kinds) or (float in kinds and isinstance(value, int))


def _expected(hint: type) -> str:
    words = [_WORDS[type_] for type_ in _kinds(hint) if type_ in _WORDS]
    return " or ".join([*words, "null"] if type(None) in _kinds(hint) else words)
