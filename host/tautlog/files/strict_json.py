"""Strict JSON: the only place where text from outside becomes objects.

Python's own reader accepts NaN, infinity and duplicate keys, and raises RecursionError if
brackets nest by the thousand. RFC 8259 has no NaN and no infinity (section 6), leaves the meaning
of duplicate keys to the reader (section 4), and lets it limit the depth (section 9). Here all of
these are refused, with one type of error.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, NoReturn

from tautlog.errors import JsonError

MAX_DEPTH = 32  # own choice: what tautlog writes nests up to 7 deep
MOST_DIGITS = 308  # of a whole number, with its sign: IEEE 754 binary64 ends at 1.8e308


def read_json(
    text: str | bytes | bytearray | memoryview, where: str | Path = "", line: int | None = None
) -> object:
    """Return the value of a JSON text.

    Parameters
    ----------
    text : str or bytes
        The text; bytes are UTF-8.
    where : str or Path
        Source of the text, for the message.
    line : int, optional
        Number of the line, if the text is one line of a file.

    Raises
    ------
    JsonError
        Also a ValueError; gives place and fault: not JSON, nested deeper than `MAX_DEPTH`, a
        duplicate key, or a number that is not finite.
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
    raise JsonError(f"{_where(where, line)} is not valid JSON: {fault}") from None


def read_object(
    text: str | bytes | bytearray | memoryview, where: str | Path = "", line: int | None = None
) -> dict[str, Any]:
    """Return the object in a JSON text; see `read_json`.

    Raises
    ------
    JsonError
        As in `read_json`, and if the text is not an object.
    """
    value = read_json(text, where, line)
    if not isinstance(value, dict):
        raise JsonError(f"{_where(where, line)} is not a JSON object")
    return value


def read_list(text: str | bytes | bytearray | memoryview, where: str | Path = "") -> list[Any]:
    """Return the list in a JSON text; see `read_json`.

    Raises
    ------
    JsonError
        As in `read_json`, and if the text is not a list.
    """
    value = read_json(text, where)
    if not isinstance(value, list):
        raise JsonError(f"{_where(where, None)} is not a JSON list")
    return value


def _where(where: str | Path, line: int | None) -> str:
    """Source of the text, for a message."""
    return " ".join(part for part in (str(where), f"line {line}" if line else "") if part) or "it"


def _place(problem: json.JSONDecodeError, *, whole: bool) -> str:
    """The library's message, with the place in the file."""
    if whole:
        return f"{problem.msg} at line {problem.lineno} column {problem.colno}"
    return f"{problem.msg} at column {problem.colno}"


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice[:40]!r} occurs twice")
    return made


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is too large for a number")
    return value


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:  # no float holds it: calculations with it would fail
        raise ValueError(f"{text[:40]}... is too large for a number")
    return int(text)


def _deeper(value: object) -> bool:
    """Whether a value nests deeper than `MAX_DEPTH`; level by level, without recursion."""
    level = [value]
    for _ in range(MAX_DEPTH + 1):
        holders = [value for value in level if isinstance(value, (dict, list))]
        if not holders:
            return False
        level = [
            item
            for value in holders
            for item in (value.values() if isinstance(value, dict) else value)
        ]
    return True
