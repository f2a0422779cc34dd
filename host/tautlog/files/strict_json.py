"""Safe JSON: the one place where a text from outside becomes objects.

Python's own reader takes NaN, infinity and a key that stands twice, and ends in a
RecursionError where brackets nest by the thousand. RFC 8259 has no NaN and no infinity
(section 6), leaves to each reader what a doubled key means (section 4), and lets it bound
the depth (section 9). Here all of them are refused, with one kind of error.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, NoReturn

from tautlog.errors import JsonError

MAX_DEPTH = 32  # own choice: what tautlog writes nests up to 7 deep
MOST_DIGITS = 308  # of a whole number with its sign: IEEE 754 binary64 ends at 1.8e308


def read_json(
    text: str | bytes | bytearray | memoryview, where: str | Path = "", line: int | None = None
) -> object:
    """Return what a text of JSON says.

    Parameters
    ----------
    text : str or bytes
        The text; bytes are UTF-8.
    where : str or Path
        What it was read from, for the message.
    line : int, optional
        Number of the line there, where the text is one line of a file.

    Raises
    ------
    JsonError
        A ValueError too, with place and fault: no JSON, nested deeper than `MAX_DEPTH`, a key
        that stands twice, or a number that is none or endless.
    """
    try:
        if not isinstance(text, str):
            text = bytes(text).decode("utf-8")
        value = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_refuse,
            parse_float=_finite,
            parse_int=_whole,
        )
    except RecursionError:
        fault = f"it nests deeper than {MAX_DEPTH}"
    except json.JSONDecodeError as problem:
        fault = _place(problem, whole=line is None)
    except ValueError as problem:
        fault = str(problem)
    else:
        if not _deeper(value):
            return value
        fault = f"it nests deeper than {MAX_DEPTH}"
    raise JsonError(f"{_where(where, line)} is no JSON that can be used: {fault}") from None


def read_object(
    text: str | bytes | bytearray | memoryview, where: str | Path = "", line: int | None = None
) -> dict[str, Any]:
    """Return the object that a text of JSON is; see `read_json`.

    Raises
    ------
    JsonError
        As in `read_json`, and for a text that is no object.
    """
    value = read_json(text, where, line)
    if not isinstance(value, dict):
        raise JsonError(f"{_where(where, line)} is no JSON object")
    return value


def read_list(text: str | bytes | bytearray | memoryview, where: str | Path = "") -> list[Any]:
    """Return the list that a text of JSON is; see `read_json`.

    Raises
    ------
    JsonError
        As in `read_json`, and for a text that is no list.
    """
    value = read_json(text, where)
    if not isinstance(value, list):
        raise JsonError(f"{_where(where, None)} is no JSON list")
    return value


def _where(where: str | Path, line: int | None) -> str:
    """What was read, for a message."""
    return " ".join(part for part in (str(where), f"line {line}" if line else "") if part) or "it"


def _place(problem: json.JSONDecodeError, *, whole: bool) -> str:
    """What the library says, with the place in the terms of the file."""
    if whole:
        return f"{problem.msg} at line {problem.lineno} column {problem.colno}"
    return f"{problem.msg} at column {problem.colno}"


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice[:40]!r} stands in it twice")
    return made


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is beyond every number that can be kept")
    return value


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:  # no float holds it, and whoever works with it would fail
        raise ValueError(f"{text[:40]}... is beyond every number that can be kept")
    return int(text)


def _deeper(value: object) -> bool:
    """Whether a value nests deeper than `MAX_DEPTH`; level by level, so that it cannot recurse."""
    level = [value]
    for _ in range(MAX_DEPTH + 1):
        holders = [one for one in level if isinstance(one, (dict, list))]
        if not holders:
            return False
        level = [
            item for one in holders for item in (one.values() if isinstance(one, dict) else one)
        ]
    return True
