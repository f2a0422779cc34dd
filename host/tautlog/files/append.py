"""Append: add a line to the end of a file, whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.locks import lock

_BINARY = getattr(os, "O_BINARY", 0)  # for Windows, which would write two bytes for "\n"


@dataclass(frozen=True)
class Appended:
    """A line that was added and is on disk.

    Attributes
    ----------
    number : int
        Number of the line, from 1.
    doubt : str
        What is doubtful in the file before that line, in words, or "".
    """

    number: int
    doubt: str = ""


def append_line(path: Path, line: bytes) -> Appended:
    """Add a line, without its newline, to the end of a file.

    A last line without an end was cut short by a crash or an older program. It stays, on its own
    line.

    Raises
    ------
    CampaignError
        If the disk does not take the whole line; then nothing of it is in the file.
    """
    try:
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | _BINARY, 0o644)
        try:
            lock(handle, wait=True)  # a line that another program is writing is not cut short
            cut_short = _is_cut_short(handle)
            _write(handle, b"\n" * cut_short + line + b"\n")
            end = os.lseek(handle, 0, os.SEEK_CUR)
        finally:
            os.close(handle)
        # Counting needs no parsing, even of ten thousand lines. Another program may have added
        # more lines since.
        number = path.read_bytes()[:end].count(b"\n")
    except OSError as problem:
        raise CampaignError(f"{path} cannot be written: {problem.strerror}") from problem
    if not cut_short:
        return Appended(number)
    return Appended(number, f"line {number - 1} of {path.name} was cut short: check it")


def _is_cut_short(handle: int) -> bool:
    """Whether the last line of a file has no end."""
    size = os.lseek(handle, 0, os.SEEK_END)
    if not size:
        return False
    os.lseek(handle, size - 1, os.SEEK_SET)
    return os.read(handle, 1) != b"\n"


def _write(handle: int, text: bytes) -> None:
    """Write the whole text to disk, or nothing."""
    written = 0
    try:
        # A single write at the end keeps the lines of two programs apart.
        written = os.write(handle, text)
        if written < len(text):
            reason = f"the disk took {written} of {len(text)} bytes: is it full?"
            raise OSError(errno.ENOSPC, reason)
        os.fsync(handle)
    except OSError:
        if written:
            _take_back(handle, written)
        raise


def _take_back(handle: int, written: int) -> None:
    """Cut off what was just written, unless another program has added to it since."""
    with contextlib.suppress(OSError):  # what stays is a cut-short line, handled next time
        end = os.lseek(handle, 0, os.SEEK_CUR)
        if os.fstat(handle).st_size == end:
            os.ftruncate(handle, end - written)
