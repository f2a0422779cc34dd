"""Numbered files: NUMBER_DAY.json in a folder of the campaign; they are only added."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from tautlog.errors import CampaignError, RecordExistsError
from tautlog.files.chain import add_kept_file

NAME = re.compile(r"([0-9]+)_[0-9]{4}-[0-9]{2}-[0-9]{2}\.json")  # number, day
HEAD_BYTES = 4096  # a file names its format within these


def files_in_order(folder: Path) -> list[Path]:
    """Files of a folder whose names give their place in the order, by their numbers."""
    return sorted(
        (path for path in folder.glob("*.json") if NAME.fullmatch(path.name)), key=order_of
    )


def number_of(path: Path) -> int:
    """Number at the head of a file's name; 0 without one."""
    head = path.name.split("_")[0]
    return int(head) if head.isdigit() else 0


def order_of(path: Path) -> tuple[int, str]:
    """Place of a file: its number, then its name."""
    return number_of(path), path.name


def write_numbered(folder: Path, content: Mapping[str, object], now: datetime) -> Path:
    """Write an object to a new file, numbered after all others.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    text = json.dumps(content, indent=1, allow_nan=False).encode() + b"\n"
    try:
        folder.mkdir(exist_ok=True)
        while True:
            number = 1 + max((number_of(file) for file in folder.glob("*.json")), default=0)
            path = folder / f"{number:04d}_{now:%Y-%m-%d}.json"
            with contextlib.suppress(RecordExistsError):  # another program was faster
                add_kept_file(path, text)
                return path
    except OSError as problem:
        raise CampaignError(f"{folder} cannot be written: {problem.strerror}") from problem


def unread_in(folder: Path, mark: str, what: str) -> tuple[str, ...]:
    """Each file that may be one of these but is not read, why, and how to correct it.

    Files that end in .json in any spelling, or that name the format, may be. Names that begin
    with a dot belong to other programs.

    Parameters
    ----------
    folder : Path
        Where the files lie.
    mark : str
        The format that they name.
    what : str
        What they are, such as "a calibration".
    """
    try:
        there = sorted(folder.iterdir()) if folder.is_dir() else []
    except OSError as problem:
        return (f"{folder} cannot be read: {problem.strerror}",)
    numbers = [number_of(path) for path in there if NAME.fullmatch(path.name)]
    found = []
    for path in there:
        if not NAME.fullmatch(path.name):
            wrong = "its name does not give its place in the order" * _may_count(path, mark)
        else:
            same = numbers.count(number_of(path)) > 1
            wrong = (
                "another file has the same number, so that it is not known which is newer" * same
            )
        if wrong:
            found.append(
                f"{folder.name}/{path.name} may be {what}, but {wrong}: rename it to NUMBER_DAY."
                f"json, such as {1 + max(numbers, default=0):04d}_2026-03-01.json, the newest with "
                "the highest number; or remove it from the folder"
            )
    return tuple(found)


def _may_count(path: Path, mark: str) -> bool:
    if path.name.startswith(".") or not path.is_file():
        return False
    if ".json" in path.name.casefold():
        return True
    try:
        with path.open("rb") as file:
            return mark.encode() in file.read(HEAD_BYTES)
    except OSError:
        return True  # not known
