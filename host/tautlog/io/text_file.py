"""Text file: rows and cells of a text file of columns, read again and again, never held as a whole.

A file of millions of rows takes gigabytes as cells. So it is read twice: once for its hash, its
encoding and what separates its columns, and once for its numbers.
"""

from __future__ import annotations

import codecs
import contextlib
import csv
import hashlib
import io
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from tautlog.errors import TraceImportError
from tautlog.record.grid import MAX_TRACE_SAMPLES

_DELIMITERS = ("\t", ";", ",")
_LINES_LOOKED_AT = 200
_BYTES_AT_ONCE = 1 << 20
_LONGEST_LINE = 1 << 22  # characters; a longer one is no row of columns; own choice
_BOMS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))

Row = tuple[int, list[str]]  # number of its last line in the file, from 1, and its cells


@dataclass(frozen=True)
class TextFile:
    """A text file of columns; `text_file` opens one.

    Attributes
    ----------
    path : Path
        The file.
    file : BinaryIO
        Its bytes.
    encoding, delimiter, sha256 : str
        How it is decoded; what separates its columns; SHA-256 of its bytes.
    lines : int
        No fewer than it has rows.
    """

    path: Path
    file: BinaryIO
    encoding: str
    delimiter: str
    sha256: str
    lines: int

    def rows(self) -> Iterator[Row]:
        """All rows that are not blank, from the first; one reader at a time.

        Raises
        ------
        TraceImportError
            If a line cannot be split into columns.
        """
        self.file.seek(0)
        text = io.TextIOWrapper(self.file, self.encoding, newline="")
        reader = csv.reader(text, delimiter=self.delimiter)
        try:
            for number, cells in enumerate(reader):
                if not number and cells:
                    cells[0] = cells[0].lstrip("\ufeff")  # a second mark of the byte order
                if any(map(str.strip, cells)):
                    yield reader.line_num, cells
        except csv.Error as problem:
            raise TraceImportError(
                f"{self.path} line {reader.line_num} cannot be split into columns: {problem}"
            ) from problem
        finally:
            with contextlib.suppress(ValueError):  # the file may be closed by now
                text.detach()


@contextlib.contextmanager
def text_file(path: Path) -> Iterator[TextFile]:
    """Open a text file of columns.

    Raises
    ------
    TraceImportError
        If it cannot be read, is empty, is no text, is too long, or changes while it is read.
    """
    try:
        with open(path, "rb") as given, _seekable(given) as file:
            before = _size(file)
            yield _looked_at(path, file)
            if _size(file) != before:
                raise TraceImportError(f"{path} changed while it was read: import it again")
    except FileNotFoundError as problem:
        raise TraceImportError(f"{path} does not exist: check the name") from problem
    except IsADirectoryError as problem:
        raise TraceImportError(f"{path} is a folder, expected a text file of columns") from problem
    except TraceImportError:
        raise
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise TraceImportError(f"{path} cannot be read: {reason}") from problem


@contextlib.contextmanager
def _seekable(file: BinaryIO) -> Iterator[BinaryIO]:
    """The file, or a copy of what comes out of a pipe."""
    if file.seekable():
        yield file
        return
    with tempfile.TemporaryFile() as copy:
        shutil.copyfileobj(file, copy)
        yield copy


def _size(file: BinaryIO) -> int:
    return file.seek(0, io.SEEK_END)


def _looked_at(path: Path, file: BinaryIO) -> TextFile:
    """Read all bytes once: by the byte order mark, else as UTF-8, else as Latin-1."""
    file.seek(0)
    begin = file.read(4)
    encoding = next((name for mark, name in _BOMS if begin.startswith(mark)), "utf-8")
    try:
        seen = _Seen(path, file, encoding)
    except UnicodeDecodeError:
        # Units and names from old programs; digits are the same.
        encoding = "latin-1"
        seen = _Seen(path, file, encoding)
    if not seen.full:
        raise TraceImportError(f"{path} is empty, expected a text file of columns")
    return TextFile(path, file, encoding, _delimiter(seen.looked_at), seen.sha256, seen.lines)


class _Seen:
    """What one reading of all bytes shows: hash, number of lines, and lines from all over it."""

    def __init__(self, path: Path, file: BinaryIO, encoding: str) -> None:
        self.lines, self.full = 0, 0
        self.looked_at: list[str] = []
        self._path, self._step = path, 1
        digest, decoder = hashlib.sha256(), codecs.getincrementaldecoder(encoding)()
        rest = ""
        file.seek(0)
        while True:
            data = file.read(_BYTES_AT_ONCE)
            digest.update(data)
            text = decoder.decode(data, final=not data)
            if "\0" in text:
                raise TraceImportError(f"{path} is not a text file: it contains NUL bytes")
            *whole, rest = (rest + text).replace("\r", "\n").split("\n")
            self._take(whole)
            if len(rest) > _LONGEST_LINE:
                raise TraceImportError(
                    f"{path} line {self.lines + 1} has more than {_LONGEST_LINE} characters, "
                    "expected a text file of columns"
                )
            if not data:
                break
        self._take([rest])
        self.sha256 = digest.hexdigest()

    def _take(self, lines: list[str]) -> None:
        """Count lines, and keep every so many that are not blank."""
        self.lines += len(lines)
        if self.lines > 2 * MAX_TRACE_SAMPLES:  # a line may end in two characters
            raise TraceImportError(
                f"{self._path} has more than {2 * MAX_TRACE_SAMPLES} lines: a trace has at most "
                f"{MAX_TRACE_SAMPLES} samples"
            )
        for line in lines:
            if line.strip():
                if self.full % self._step == 0:
                    self.looked_at.append(line)
                self.full += 1
        if len(self.looked_at) > 2 * _LINES_LOOKED_AT:
            thinner = -(-len(self.looked_at) // _LINES_LOOKED_AT)
            self.looked_at = self.looked_at[::thinner]
            self._step *= thinner


def _delimiter(lines: list[str]) -> str:
    """The first of tab, semicolon and comma that most lines contain."""
    for delimiter in _DELIMITERS:
        if sum(delimiter in line for line in lines) * 2 > len(lines):
            return delimiter
    return ","
