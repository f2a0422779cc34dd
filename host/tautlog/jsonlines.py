"""JSON lines: files of a campaign that are only ever added to, one object a line."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, TypeVar

from tautlog.errors import CampaignError

Kind = TypeVar("Kind")


def read_lines(path: Path, kind: type[Kind], what: str) -> list[Kind]:
    """Objects of a file, oldest first; none where there is no file.

    Parameters
    ----------
    path : Path
        The file.
    kind : type
        Dataclass that each line is one of.
    what : str
        What a line is, for messages.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    if not path.exists():
        return []
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as problem:
        raise CampaignError(f"{path} cannot be read: {problem}") from problem
    found = []
    for number, line in enumerate(lines, start=1):
        if line.strip():
            try:
                found.append(kind(**json.loads(line)))
            except (ValueError, TypeError) as problem:
                raise CampaignError(f"{path} line {number} is no {what}: {problem}") from problem
    return found


def add_line(path: Path, told: dict[str, Any]) -> None:
    """Append one object, on disk on return.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    line = (json.dumps(told) + "\n").encode()
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
