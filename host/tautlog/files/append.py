"""Append: add lines to the end of a file, whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.locks import lock
from tautlog.files.ordinary import require_ordinary, require_own

_BINARY = getattr(os, "O_BINARY", 0)  # for Windows, which would write two bytes for "\n"
_PIECE_BYTES = 1 << 16


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


class LinesFile:
    """A file of lines, open and locked for adding to its end; `appending` gives one."""

    def __init__(self, path: Path, handle: int) -> None:
        self.path = path
        self._handle = handle
        self._size = os.lseek(handle, 0, os.SEEK_END)
        self._end = self._size

    def everything(self) -> bytes:
        """All bytes of the file before anything was added."""
        return self._read(0, self._size)

    def last_line(self) -> bytes:
        """The last line before anything was added, without its end; b"" if there is none."""
        found, at = b"", self._size
        while at and b"\n" not in found[:-1]:
            start = max(at - _PIECE_BYTES, 0)
            found, at = self._read(start, at) + found, start
        return found.removesuffix(b"\n").rpartition(b"\n")[2]

    @property
    def cut_short(self) -> bool:
        """Whether the last line had no end: a crash or an older program cut it short."""
        return bool(self._size) and self._read(self._size - 1, self._size) != b"\n"

    def add(self, lines: bytes) -> None:
        """Add a line, or several with line feeds between; they are on disk on return.

        A last line that was cut short stays, on its own line.

        Raises
        ------
        OSError
            If the disk does not take all of it; then nothing of it is in the file.
        """
        self._write(b"\n" * self.cut_short + lines + b"\n")

    def added(self) -> Appended:
        """The last line that was added."""
        # Counting needs no parsing, even of ten thousand lines.
        number = self._read(0, self._end).count(b"\n")
        if not self.cut_short:
            return Appended(number)
        return Appended(number, f"line {number - 1} of {self.path.name} was cut short: check it")

    def take_back(self) -> None:
        """Cut off what was added, unless a program that knows no locks has added to it since."""
        with contextlib.suppress(OSError):  # what stays is a cut-short line, handled next time
            if os.fstat(self._handle).st_size == self._end:
                os.ftruncate(self._handle, self._size)
                os.fsync(self._handle)

    def _write(self, text: bytes) -> None:
        try:
            # A single write at the end keeps the lines of two programs apart.
            written = os.write(self._handle, text)
            self._end = os.lseek(self._handle, 0, os.SEEK_CUR)
            if written < len(text):
                reason = f"the disk took {written} of {len(text)} bytes: is it full?"
                raise OSError(errno.ENOSPC, reason)
            os.fsync(self._handle)
        except OSError:
            self.take_back()
            raise

    def _read(self, start: int, end: int) -> bytes:
        os.lseek(self._handle, start, os.SEEK_SET)
        found = bytearray()
        while len(found) < end - start:
            piece = os.read(self._handle, end - start - len(found))
            if not piece:
                break
            found += piece
        return bytes(found)


@contextlib.contextmanager
def appending(path: Path) -> Iterator[LinesFile]:
    """Open a file of lines for adding; other programs wait until it is closed.

    Raises
    ------
    CampaignError
        If it is no ordinary file, or only a link to one, or the disk refuses.
    """
    try:
        if os.path.lexists(path):
            require_own(path)  # else the lines of this campaign would go into another's
            require_ordinary(path, most_bytes=1 << 40)  # opening a pipe would never end
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | _BINARY, 0o644)
        try:
            lock(handle, wait=True)  # a line that another program is writing is not cut short
            yield LinesFile(path, handle)
        finally:
            os.close(handle)
    except OSError as problem:
        raise CampaignError(f"{path} cannot be written: {problem.strerror}") from problem


def append_line(path: Path, line: bytes) -> Appended:
    """Add a line, without its newline, to the end of a file; see `LinesFile.add`.

    Raises
    ------
    CampaignError
        If the disk does not take the whole line; then nothing of it is in the file.
    """
    with appending(path) as file:
        file.add(line)
        return file.added()
