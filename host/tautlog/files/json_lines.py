"""JSON lines: append-only files of a campaign, one object to a line.

A line is known by its number. A later line corrects a wrong line: it supersedes it, with a name
and a reason; nothing is erased. A correction takes the place in time of the line it corrects.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic

from tautlog.errors import CampaignError, JsonError
from tautlog.files.append import Appended
from tautlog.files.chain import add_kept_line
from tautlog.files.ordinary import read_ordinary
from tautlog.files.strict_json import read_json
from tautlog.files.typed_json import Kind, built
from tautlog.model.signature import signed


@dataclass(frozen=True)
class Standing(Generic[Kind]):
    """One line, and whether it still counts.

    Attributes
    ----------
    number : int
        Number of the line, from 1.
    entry : object or None
        The entry; None for an unreadable line that no longer counts.
    utc : str
        Time of the entry: its own, or that of the line it corrects.
    superseded_by : int or None
        Number of the line that corrects it; None if it counts.
    """

    number: int
    entry: Kind | None
    utc: str
    superseded_by: int | None = None


def read_standing(
    path: Path, kind: type[Kind], what: str, *, correcting: int | None = None
) -> list[Standing[Kind]]:
    """Lines of a file in the order of their times, superseded lines too.

    Parameters
    ----------
    path : Path
        The file; a missing file has no lines.
    kind : type
        Dataclass of each line; its own checks refuse values out of range.
    what : str
        What a line is, for messages.
    correcting : int or None
        Number of a line that is about to be corrected, and need not be readable.

    Raises
    ------
    CampaignError
        If a line that counts cannot be read; names the line.
    """
    lines = _lines(path)
    numbers = {line.number for line in lines}
    lines = [_with_correction_checked(line, numbers) for line in lines]
    corrected_by = {line.supersedes: line.number for line in lines if line.supersedes is not None}
    roots: dict[int, int] = {}
    times: dict[int, str] = {}
    found = []
    for line in lines:
        wrong = line.supersedes
        roots[line.number] = line.number if wrong is None else roots[wrong]
        times[line.number] = times.get(roots[line.number], "") or line.utc
        counts = line.number not in corrected_by and line.number != correcting
        entry = _built(path, kind, what, line, counts=counts)
        found.append(
            Standing(line.number, entry, times[line.number], corrected_by.get(line.number))
        )
    return sorted(found, key=lambda line: (roots[line.number], line.number))


def add_line(path: Path, entry: Mapping[str, object]) -> Appended:
    """Append an entry; it is on disk on return.

    Raises
    ------
    CampaignError
        If it cannot be written, or the superseded line does not exist or no longer counts.
    """
    if entry.get("supersedes") is not None:
        _check_correction(path, entry)
    return add_kept_line(path, json.dumps(entry, allow_nan=False).encode())


@dataclass(frozen=True)
class _Line:
    """One line as it was read: its JSON value, or why it cannot be used."""

    number: int
    value: object
    problem: JsonError | None = None

    @property
    def supersedes(self) -> Any:
        """Number of the line that it corrects, as stated; None if it corrects none."""
        return self.value.get("supersedes") if isinstance(self.value, dict) else None

    @property
    def utc(self) -> str:
        """The stated time, or ""."""
        return str(self.value.get("utc", "")) if isinstance(self.value, dict) else ""


def _with_correction_checked(line: _Line, numbers: set[int]) -> _Line:
    """The line; a wrong correction becomes its problem. `numbers` are those of all lines."""
    problem = _correction_problem(line, numbers)
    return line if problem is None else replace(line, value=None, problem=problem)


def _correction_problem(line: _Line, numbers: set[int]) -> JsonError | None:
    """What is wrong with a line's correction, or None."""
    wrong = line.supersedes
    if wrong is None:
        return None
    if type(wrong) is not int or wrong >= line.number or wrong not in numbers:
        return JsonError(f"it supersedes {wrong!r}; expected the number of an earlier line")
    if not _signed(line.value):
        return JsonError(
            f"it supersedes {wrong} without a name (by) and a reason; neither may be empty"
        )
    return None


def _signed(entry: object) -> bool:
    texts = (entry.get("by"), entry.get("reason")) if isinstance(entry, Mapping) else ()
    return bool(texts) and all(isinstance(text, str) and bool(signed(text)) for text in texts)


def _check_correction(path: Path, entry: Mapping[str, object]) -> None:
    wrong = entry["supersedes"]
    if not _signed(entry):
        raise CampaignError("to supersede an entry, give a name (--by) and a reason (--reason)")
    lines = _lines(path)
    numbers = {line.number for line in lines}
    if type(wrong) is not int or wrong not in numbers:
        there = f"it has entries 1 to {lines[-1].number}" if lines else "it has no entries"
        raise CampaignError(f"{path.name} has no entry {wrong}: {there}")
    for line in lines:
        if line.supersedes == wrong and not _correction_problem(line, numbers):
            raise CampaignError(
                f"entry {wrong} of {path.name} is already superseded by entry {line.number}: "
                "supersede that entry"
            )


def _lines(path: Path) -> list[_Line]:
    """Every line of a file that is not blank."""
    if not os.path.lexists(path):
        return []
    try:
        lines = read_ordinary(path).split(b"\n")
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem.strerror}") from problem
    return [_read(number, line) for number, line in enumerate(lines, start=1) if line.strip()]


def _read(number: int, line: bytes) -> _Line:
    try:
        return _Line(number, read_json(line))
    except JsonError as problem:
        return _Line(number, None, problem)


def _built(path: Path, kind: type[Kind], what: str, line: _Line, *, counts: bool) -> Kind | None:
    try:
        if line.problem is not None:
            raise line.problem
        return built(kind, line.value)
    except ValueError as problem:
        if not counts:
            return None
        raise CampaignError(
            f"{path} line {line.number} is not a valid {what}: {problem}. Enter a new {what} that "
            f"supersedes it: --supersedes {line.number}"
        ) from problem
