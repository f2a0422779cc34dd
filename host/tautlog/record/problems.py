"""Problems: everything that can be wrong with a record's file, each as one clear line."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import h5py

from tautlog.errors import RecordError
from tautlog.files.locks import in_turn
from tautlog.files.ordinary import is_mostly_holes
from tautlog.record.disk import FileLockedError
from tautlog.record.journal import settle
from tautlog.record.layout import FORMAT, FORMAT_VERSION, MOST_JSON
from tautlog.record.parts import text_of

# Texts lie in heaps without checksums; damage there sends the library into an endless loop.
_HEAP_START = b"GCOL\x01\0\0\0"
_HEAP_CHECK_BYTES = 1 << 26  # larger files are not searched
_LONGEST_TEXT = 2 * MOST_JSON  # bytes; one text may be named by many attributes
# What h5py raises on files with flipped bytes, found by experiment.
DAMAGE = (OSError, KeyError, ValueError, TypeError, RuntimeError, OverflowError, MemoryError)


@contextlib.contextmanager
def reading(path: Path, *, patient: bool = True) -> Iterator[h5py.File]:
    """Open a record for reading; every failure becomes one clear line.

    Parameters
    ----------
    path : Path
        The record.
    patient : bool
        Wait for a program that adds something to it; a list does not.
    """
    _refuse_no_file(path)

    def opened() -> h5py.File:
        settle(path)
        _refuse_broken_heaps(path)
        return h5py.File(path, "r")

    try:
        with in_turn(opened) if patient else opened() as file:
            _refuse_foreign(path, file)
            yield file
    except (FileLockedError, BlockingIOError) as problem:
        raise locked(path) from problem
    except PermissionError as problem:
        raise error(path, f"cannot be read: {reason(problem)}") from problem
    except DAMAGE as problem:
        raise damaged(path, reason(problem)) from problem


def _refuse_no_file(path: Path) -> None:
    try:
        state = path.stat()
    except FileNotFoundError as problem:
        raise error(path, "does not exist: check the name") from problem
    except (OSError, ValueError) as problem:
        raise error(path, f"cannot be read: {reason(problem)}") from problem
    if stat.S_ISDIR(state.st_mode):
        raise error(path, "is a folder, expected a record (an .h5 file)")
    if not stat.S_ISREG(state.st_mode):
        raise error(path, "is not a regular file, expected a record (an .h5 file)")
    if is_mostly_holes(state):
        size = f"its length is {state.st_size} bytes, few are on disk"
        raise error(path, f"is mostly holes ({size}): restore it from a copy")
    if state.st_size == 0:
        raise error(path, "is empty (0 bytes), expected a record: restore it from a copy")
    try:
        known = h5py.is_hdf5(path)
    except DAMAGE:
        known = False
    if not known and os.access(path, os.R_OK):
        raise error(path, "is not an HDF5 file, expected a tautlog record")


def _refuse_broken_heaps(path: Path) -> None:
    """Raise ValueError if a heap of texts is inconsistent.

    HDF5 File Format Specification, version 3, section III.E, Global Heap: 8 bytes
    signature and version; u64 size of the collection; objects of u16 index, u16
    reference count, 4 bytes, u64 size, and the object padded to 8 bytes. Index 0 is
    the free space up to the end, its head included in its size.
    """
    if path.stat().st_size > _HEAP_CHECK_BYTES:
        return
    data = path.read_bytes()
    at = data.find(_HEAP_START)
    while at >= 0:
        end = at + int.from_bytes(data[at + 8 : at + 16], "little")
        place, free = at + 16, False
        while place + 16 <= end <= len(data) and not free:
            size = int.from_bytes(data[place + 8 : place + 16], "little")
            free = data[place : place + 2] == b"\0\0"
            if size > _LONGEST_TEXT and not free:
                raise ValueError(f"a text has {size} bytes, allowed are {_LONGEST_TEXT}")
            place += size if free else 16 + (size + 7) // 8 * 8
        if not place <= end <= len(data) or (free and place != end):
            raise ValueError(f"the texts at byte {at} are inconsistent")
        at = data.find(_HEAP_START, at + 1)


def _refuse_foreign(path: Path, file: h5py.File) -> None:
    if text_of(file, "format") != FORMAT:
        raise error(path, f"is an HDF5 file but not a {FORMAT}")
    version = int(text_of(file, "format_version"))
    if version > FORMAT_VERSION:
        raise error(
            path,
            f"has format version {version}, this tautlog reads up to {FORMAT_VERSION}: "
            "install a newer tautlog",
        )
    if version < 1:
        raise damaged(path, f"its format version is {version}")


def error(path: Path, what: str) -> RecordError:
    """An error that begins with the file's name."""
    return RecordError(f"{path} {what}", path=str(path))


def damaged(path: Path, why: str) -> RecordError:
    """The error for an inconsistent file."""
    return error(path, f"is damaged or cut short ({why}): restore it from a copy")


def locked(path: Path) -> RecordError:
    """The error for a file that another program is writing."""
    return error(path, "is in use by another program: wait, or close that program")


def reason(problem: BaseException) -> str:
    """One line on what went wrong."""
    if isinstance(problem, OSError) and problem.errno and not isinstance(problem, FileLockedError):
        return os.strerror(problem.errno)
    text = " ".join(str(problem).split())
    return text or type(problem).__name__
