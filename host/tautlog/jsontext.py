"""JSON text: what the files of a campaign hold, read strictly.

RFC 8259 lets a reader do as it likes with names that stand twice in one object, and knows no
NaN and no Infinity. Here both are refused, and so is a text that is nested without end:
what can be read in two ways is not read.
"""

from __future__ import annotations

import json
from dataclasses import MISSING, fields
from typing import Any, TypeVar, get_type_hints

from tautlog.keys import short

Kind = TypeVar("Kind")
_WORDS = {str: "a text", int: "a whole number", float: "a number", bool: "true or false"}


class JsonTextError(ValueError):
    """A text is no JSON that can be read in one way only."""


def parse(text: str) -> Any:
    """The value of a JSON text.

    Raises
    ------
    JsonTextError
        If it is none; a name stands twice in one object; a number is none; it is nested too
        deep.
    """
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_number)
    except JsonTextError:
        raise
    except RecursionError as problem:
        raise JsonTextError("it is nested too deep") from problem
    except ValueError as problem:
        raise JsonTextError(f"it is no JSON ({short(problem, 80)})") from problem


def built(kind: type[Kind], told: Any) -> Kind:
    """An object of a dataclass, of what a JSON object says.

    Parameters
    ----------
    kind : type
        Dataclass of texts, numbers and whole numbers; what has a default may lack, and what may
        be None may be null. Its own checks follow.
    told : object
        As `parse` returned it.

    Raises
    ------
    ValueError
        With the name, what was seen and what was expected.
    """
    if not isinstance(told, dict):
        raise JsonTextError(f"expected one JSON object, seen {short(told, 40)}")
    hints = get_type_hints(kind)
    known = {one.name: one for one in fields(kind)}  # type: ignore[arg-type]
    for name in told:
        if name not in known:
            allowed = ", ".join(known)
            raise JsonTextError(f"{short(name)} is no name of it; allowed are {allowed}")
    for name, one in known.items():
        if name not in told and one.default is MISSING and one.default_factory is MISSING:
            raise JsonTextError(f"{name} lacks; expected is {_expected(hints[name])}")
    for name, value in told.items():
        if not _fits(value, hints[name]):
            raise JsonTextError(f"{name} = {short(value, 40)}: allowed is {_expected(hints[name])}")
    return kind(**told)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise JsonTextError(f"{short(twice)} stands there twice; expected is once")
    return found


def _no_number(text: str) -> float:
    raise JsonTextError(f"{text} is no number")


def _kinds(hint: Any) -> tuple[type, ...]:
    return getattr(hint, "__args__", None) or (hint,)


def _fits(value: Any, hint: Any) -> bool:
    kinds = _kinds(hint)
    if isinstance(value, bool):
        return bool in kinds
    return isinstance(value, kinds) or (float in kinds and isinstance(value, int))


def _expected(hint: Any) -> str:
    words = [_WORDS[one] for one in _kinds(hint) if one in _WORDS]
    return " or ".join([*words, "null"] if type(None) in _kinds(hint) else words)
