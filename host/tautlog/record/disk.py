"""Disk: unbuffered files, writes forced to disk, and the identity of the file under a name."""

from __future__ import annotations

import contextlib
import io
import os
from pathlib import Path

from tautlog.files import locks

Identity = tuple[int, int]  # device and inode


class FileLockedError(BlockingIOError):
    """Another program has the file open for writing; to a writer, open at all."""


class FileGoneError(OSError):
    """The file, or its journal, was removed, moved or replaced while it was written."""


def open_raw(path: Path, mode: str) -> io.FileIO:
    """Open a file without a buffer."""
    return io.FileIO(path, mode.replace("b", ""))


def open_beside(path: Path) -> io.FileIO:
    """Open a file that a program puts beside another, emptied, for writing; never through a link.

    Raises
    ------
    OSError
        If there is a link, a pipe or a folder of that name.
    """
    if path.is_symlink():  # for systems without O_NOFOLLOW
        raise OSError(f"{path.name} is a link to another file: remove the link")
    no_link = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    return io.FileIO(path, "w", opener=lambda name, flags: os.open(name, flags | no_link, 0o666))


def identity_of(file: Path | int) -> Identity:
    """Device and inode of a file, by its name or its open descriptor.

    Raises
    ------
    OSError
        If there is no such file.
    """
    state = os.stat(file)
    return state.st_dev, state.st_ino


def is_one_of(path: Path, *identities: Identity) -> bool:
    """Whether the file under a name is one of these."""
    try:
        return identity_of(path) in identities
    except (OSError, ValueError):
        return False


def read_all(raw: io.FileIO, offset: int, view: memoryview) -> None:
    """Fill `view` from `offset` on; zeros beyond the end of the file."""
    raw.seek(offset)
    got = 0
    while got < len(view) and (count := raw.readinto(view[got:])):
        got += count
    view[got:] = bytes(len(view) - got)


def write_all(raw: io.FileIO, offset: int, data: bytes | bytearray | memoryview) -> None:
    """Write all of `data` at `offset`; one write to a raw file may take less."""
    view = memoryview(data)
    raw.seek(offset)
    while len(view):
        view = view[raw.write(view) or 0 :]


def force(raw: io.FileIO) -> None:
    """Force a file's bytes to disk before returning."""
    os.fsync(raw.fileno())


def force_folder(folder: Path) -> None:
    """Force new and removed names in a folder to disk, if the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def lock(raw: io.FileIO) -> None:
    """Lock a file against other programs, also plain HDF5 readers, while it is open.

    Raises
    ------
    FileLockedError
        If another program holds the lock.
    """
    try:
        locks.lock(raw.fileno(), wait=False)
    except BlockingIOError as problem:
        raise FileLockedError(f"another program uses {raw.name}") from problem
