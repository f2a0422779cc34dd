"""Append: one more line at the end of a file, whole or not there."""

from __future__ import annotations

import contextlib
import errno
import os
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import CampaignError

_BINARY = getattr(os, "O_BINARY", 0)  # of Windows, which would write two signs for "\n"


@dataclass(frozen=True)
class Appended:
    """A line that was added, and is on disk.

    Attributes
    ----------
    number : int
        Of the line, from 1.
    doubt : str
        What the file held before it that somebody should look at, in words, or "".
    """

    number: int
    doubt: str = ""


def append_line(path: Path, line: bytes) -> Appended:
    """Add a line, which holds no newline itself, to the end of a file.

    A line before it that has no end was cut short, by a crash or an older program: it is set
    aside, on a line of its own.

    Raises
    ------
    CampaignError
        If the disk does not take all of it; nothing of it is in the file then.
    """
    try:
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | _BINARY, 0o644)
        try:
            cut_short = _is_cut_short(handle)
            _write(handle, b"\n" * cut_short + line + b"\n")
            end = os.lseek(handle, 0, os.SEEK_CUR)
        finally:
            os.close(handle)
        # Of ten thousand lines none need be understood; another program may have added more.
        number = path.read_bytes()[:end].count(b"\n")
    except OSError as problem:
        raise CampaignError(f"{path} cannot be written: {problem.strerror}") from problem
    if not cut_short:
        return Appended(number)
    return Appended(
        number, f"line {number - 1} of {path.name} had no end: it was cut short, look at it"
    )


def _is_cut_short(handle: int) -> bool:
    """Whether the last line of a file has no end."""
    size = os.lseek(handle, 0, os.SEEK_END)
    if not size:
        return False
    os.lseek(handle, size - 1, os.SEEK_SET)
    return os.read(handle, 1) != b"\n"


def _write(handle: int, text: bytes) -> None:
    """Put all of a text on the disk, or nothing of it."""
    written = 0
    try:
        # One write at the end: two programs do not mix theirs.
        written = os.write(handle, text)
        if written < len(text):
            reason = f"the disk took {written} of {len(text)} bytes, is it full?"
            raise OSError(errno.ENOSPC, reason)
        os.fsync(handle)
    except OSError:
        if written:
            _take_back(handle, written)
        raise


def _take_back(handle: int, written: int) -> None:
    """Cut off what was just written; not where another program has added to it since."""
    with contextlib.suppress(OSError):  # what stays is cut short, and is set aside next time
        end = os.lseek(handle, 0, os.SEEK_CUR)
        if os.fstat(handle).st_size == end:
            os.ftruncate(handle, end - written)
