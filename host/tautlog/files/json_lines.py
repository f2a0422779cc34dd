"""JSON lines: files of a campaign that are only ever added to, one object a line.

A line's number is its name. What was entered wrongly is corrected by a later line that
supersedes it, with a name and a reason; nothing is erased. A correction takes the place in
time of what it corrects.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic

from tautlog.errors import CampaignError, JsonError
from tautlog.files.append import Appended, append_line
from tautlog.files.strict_json import read_json
from tautlog.files.typed_json import Kind, built
from tautlog.model.signature import signed


@dataclass(frozen=True)
class Standing(Generic[Kind]):
    """One line, and whether it still counts.

    Attributes
    ----------
    number : int
        Of the line, from 1.
    entry : object or None
        What it says; None for a line that cannot be read and no longer counts.
    utc : str
        The moment that it tells of: its own, or that of the line which it corrects.
    superseded_by : int or None
        Number of the line that corrects it; None where it counts.
    """

    number: int
    entry: Kind | None
    utc: str
    superseded_by: int | None = None


def read_standing(path: Path, kind: type[Kind], what: str) -> list[Standing[Kind]]:
    """Lines of a file in the order of the moments that they tell of, superseded ones too.

    Parameters
    ----------
    path : Path
        The file; no lines where there is none.
    kind : type
        Dataclass that each line is one of; its own checks refuse what makes no sense.
    what : str
        What a line is, for messages.

    Raises
    ------
    CampaignError
        With the line that counts and cannot be read.
    """
    told = _lines(path)
    told = [_with_correction_checked(one, told) for one in told]
    corrected_by = {one.supersedes: one.number for one in told if one.supersedes is not None}
    roots: dict[int, int] = {}
    moments: dict[int, str] = {}
    found = []
    for one in told:
        wrong = one.supersedes
        roots[one.number] = one.number if wrong is None else roots[wrong]
        moments[one.number] = moments.get(roots[one.number], "") or one.utc
        counts = one.number not in corrected_by
        entry = _built(path, kind, what, one, counts=counts)
        found.append(Standing(one.number, entry, moments[one.number], corrected_by.get(one.number)))
    return sorted(found, key=lambda one: (roots[one.number], one.number))


def read_lines(path: Path, kind: type[Kind], what: str) -> list[Kind]:
    """Objects of a file that count, oldest first; see `read_standing`."""
    return [
        one.entry
        for one in read_standing(path, kind, what)
        if one.superseded_by is None and one.entry is not None
    ]


def add_line(path: Path, told: Mapping[str, object]) -> Appended:
    """Append one object, on disk on return.

    Raises
    ------
    CampaignError
        If it cannot be written, or supersedes a line that is none or counts no more.
    """
    if told.get("supersedes") is not None:
        _check_correction(path, told)
    return append_line(path, json.dumps(told, allow_nan=False).encode())


@dataclass(frozen=True)
class _Line:
    """One line as it was read: what it says, or why it is no JSON that can be used."""

    number: int
    told: object
    problem: JsonError | None = None

    @property
    def supersedes(self) -> Any:
        """Number of the line that it corrects, as it says; None for none."""
        return self.told.get("supersedes") if isinstance(self.told, dict) else None

    @property
    def utc(self) -> str:
        """The moment that it says, or ""."""
        return str(self.told.get("utc", "")) if isinstance(self.told, dict) else ""


def _with_correction_checked(line: _Line, lines: list[_Line]) -> _Line:
    """The line, or what is wrong with what it supersedes."""
    problem = _correction_problem(line, lines)
    return line if problem is None else replace(line, told=None, problem=problem)


def _correction_problem(line: _Line, lines: list[_Line]) -> JsonError | None:
    """What is wrong with what a line supersedes; None for nothing."""
    wrong = line.supersedes
    if wrong is None:
        return None
    earlier = [one.number for one in lines if one.number < line.number]
    if type(wrong) is not int or wrong not in earlier:
        return JsonError(
            f"it supersedes {wrong!r}, which is no line before it; allowed is the number of one"
        )
    if not _signed(line.told):
        return JsonError(
            f"it supersedes {wrong} without a name (by) and a reason; neither may be empty"
        )
    return None


def _signed(told: object) -> bool:
    texts = (told.get("by"), told.get("reason")) if isinstance(told, Mapping) else ()
    return bool(texts) and all(isinstance(one, str) and bool(signed(one)) for one in texts)


def _check_correction(path: Path, told: Mapping[str, object]) -> None:
    wrong = told["supersedes"]
    if not _signed(told):
        raise CampaignError("what supersedes an entry has a name (--by) and a reason (--reason)")
    lines = _lines(path)
    if type(wrong) is not int or wrong not in [one.number for one in lines]:
        there = f"1 to {lines[-1].number}" if lines else "none"
        raise CampaignError(f"{path.name} has no entry {wrong}: there are {there}")
    for one in lines:
        if one.supersedes == wrong and not _correction_problem(one, lines):
            raise CampaignError(
                f"entry {wrong} of {path.name} is superseded already, by entry {one.number}: "
                "supersede that one"
            )


def _lines(path: Path) -> list[_Line]:
    """Every line of a file that is not blank."""
    if not path.exists():
        return []
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem}") from problem
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
        return built(kind, line.told)
    except ValueError as problem:
        if not counts:
            return None
        raise CampaignError(
            f"{path} line {line.number} is no {what}: {problem}. Correct it by a new one that "
            f"supersedes it: --supersedes {line.number}"
        ) from problem
