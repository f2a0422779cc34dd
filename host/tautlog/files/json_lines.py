"""JSON lines: files of a campaign that are only ever added to, one object a line.

A line's number is its name. What was entered wrongly is corrected by a later line that
supersedes it, with a name and a reason; nothing is erased. A correction takes the place in
time of what it corrects.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from tautlog.errors import CampaignError, JsonError
from tautlog.files.strict_json import read_json
from tautlog.files.typed_json import built
from tautlog.model.signature import signed

Kind = TypeVar("Kind")


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
    told = _objects(path)
    told = [(number, _correction_problem(number, one, told) or one) for number, one in told]
    corrected_by = {_corrected(one): number for number, one in told if _corrected(one) is not None}
    roots: dict[int, int] = {}
    moments: dict[int, str] = {}
    found = []
    for number, one in told:
        wrong = _corrected(one)
        roots[number] = number if wrong is None else roots[wrong]
        entry = _built(path, kind, what, number, one, counts=number not in corrected_by)
        own = str(one.get("utc", "")) if isinstance(one, dict) else ""
        moments[number] = moments[roots[number]] or own if wrong is not None else own
        found.append(Standing(number, entry, moments[number], corrected_by.get(number)))
    return sorted(found, key=lambda one: (roots[one.number], one.number))


def read_lines(path: Path, kind: type[Kind], what: str) -> list[Kind]:
    """Objects of a file that count, oldest first; see `read_standing`."""
    return [
        one.entry
        for one in read_standing(path, kind, what)
        if one.superseded_by is None and one.entry is not None
    ]


def add_line(path: Path, told: dict[str, Any]) -> int:
    """Append one object, on disk on return; the number of its line.

    Raises
    ------
    CampaignError
        If it cannot be written, or supersedes a line that is none or counts no more.
    """
    if told.get("supersedes") is not None:
        _check_correction(path, told)
    line = _after_whole_lines(path) + (json.dumps(told, allow_nan=False) + "\n").encode()
    try:
        # One write of one line at the end: two programs do not mix theirs.
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            os.write(handle, line)
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as problem:
        raise CampaignError(f"{path} cannot be written: {problem.strerror}") from problem
    return path.read_bytes().count(b"\n")  # of ten thousand lines none need be understood


def _corrected(told: Any) -> Any:
    """What a line says that it supersedes; None for nothing."""
    return told.get("supersedes") if isinstance(told, dict) else None


def _correction_problem(number: int, told: Any, lines: list[tuple[int, Any]]) -> JsonError | None:
    """What is wrong with what a line supersedes; None for nothing."""
    wrong = _corrected(told)
    if wrong is None:
        return None
    earlier = [one for one, _ in lines if one < number]
    if type(wrong) is not int or wrong not in earlier:
        return JsonError(
            f"it supersedes {wrong!r}, which is no line before it; allowed is the number of one"
        )
    if not _signed(told):
        return JsonError(
            f"it supersedes {wrong} without a name (by) and a reason; neither may be empty"
        )
    return None


def _signed(told: dict[str, Any]) -> bool:
    texts = (told.get("by"), told.get("reason"))
    return all(isinstance(one, str) and bool(signed(one)) for one in texts)


def _after_whole_lines(path: Path) -> bytes:
    """What must stand before a new line: a line that was cut short shall not spoil it."""
    try:
        with open(path, "rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - 1, 0))
            return b"" if file.read(1) in (b"", b"\n") else b"\n"
    except OSError:
        return b""


def _check_correction(path: Path, told: dict[str, Any]) -> None:
    wrong = told["supersedes"]
    if not _signed(told):
        raise CampaignError("what supersedes an entry has a name (--by) and a reason (--reason)")
    lines = _objects(path)
    if type(wrong) is not int or wrong not in [number for number, _ in lines]:
        there = f"1 to {lines[-1][0]}" if lines else "none"
        raise CampaignError(f"{path.name} has no entry {wrong}: there are {there}")
    for number, one in lines:
        if _corrected(one) == wrong and not _correction_problem(number, one, lines):
            raise CampaignError(
                f"entry {wrong} of {path.name} is superseded already, by entry {number}: "
                "supersede that one"
            )


def _objects(path: Path) -> list[tuple[int, Any]]:
    """Number and content of every line that is not blank; the problem of what is no JSON."""
    if not path.exists():
        return []
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem}") from problem
    found: list[tuple[int, Any]] = []
    for number, line in enumerate(lines, start=1):
        if line.strip():
            try:
                found.append((number, read_json(line)))
            except JsonError as problem:
                found.append((number, problem))
    return found


def _built(
    path: Path, kind: type[Kind], what: str, number: int, told: Any, *, counts: bool
) -> Kind | None:
    try:
        if isinstance(told, JsonError):
            raise told
        return built(kind, told)
    except ValueError as problem:
        if not counts:
            return None
        raise CampaignError(
            f"{path} line {number} is no {what}: {problem}. Correct it by a new one that "
            f"supersedes it: --supersedes {number}"
        ) from problem
