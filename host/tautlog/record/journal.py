"""Journal: the changes of a commit, kept next to the file, so that all take effect or none.

An HDF5 file that is being extended is rewritten in several places at once: its
superblock, object headers, the nodes of its chunk index. A program that dies
between two of those writes leaves a file that may have lost samples written
long before. (Enumerated with h5py 3.16: of 989 states between two writes of a
growing data set, 9 could not be read, each where a node of the index was split.)

`journaled_file` stands between h5py and the disk. What is new goes to the end of
the file at once: nothing refers to it yet. What would overwrite older bytes is
kept in memory, as pages, until `commit`, which

1. forces the file to disk, with all that was added at its end;
2. writes the changed pages into a journal beside the file and forces that to disk;
3. writes the pages into the file itself.

A kill before the end of step 2 leaves the file as the last commit left it; one
after it leaves a complete journal, from which `settle` does step 3 again. After
step 2 everything survives a loss of power too: step 1 of the next commit forces
step 3 of this one to disk before the journal is overwritten.

Its bytes
---------
Little-endian: 8 bytes ``tautjrn1``; 32 bytes guard, which must also stand in the
first MiB of the file that the journal belongs to; u64 size of the file; u32
number of pages; then for each page u64 offset, u32 length, and its bytes; last
u32 CRC-32 of everything before it. Anything after that is left from before.
"""

from __future__ import annotations

import contextlib
import io
import os
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tautlog.files.ordinary import read_ordinary
from tautlog.record import disk

PAGE_BYTES = 4096
GUARD_BYTES = 32
GUARD_WITHIN_BYTES = 1 << 20
_MAGIC = b"tautjrn1"
_HEAD = struct.Struct(f"<8s{GUARD_BYTES}sQI")
_PAGE = struct.Struct("<QI")
_CHECK = struct.Struct("<I")


@dataclass(frozen=True)
class Journal:
    """The changes that one commit makes to a file.

    Attributes
    ----------
    guard : bytes
        Distinguishes the file from another of the same name.
    size : int
        Size of the file after the commit, in bytes.
    pages : mapping
        The changed pages, by number.
    """

    guard: bytes
    size: int
    pages: Mapping[int, bytes | bytearray]

    def packed(self) -> bytes:
        """The journal as bytes."""
        parts: list[bytes | bytearray] = [
            _HEAD.pack(_MAGIC, self.guard, self.size, len(self.pages))
        ]
        for number, page in sorted(self.pages.items()):
            parts += [_PAGE.pack(number * PAGE_BYTES, len(page)), page]
        body = b"".join(parts)
        return body + _CHECK.pack(zlib.crc32(body))

    def apply(self, raw: io.FileIO) -> None:
        """Change the file."""
        for number, page in sorted(self.pages.items()):
            disk.write_all(raw, number * PAGE_BYTES, page)
        if raw.seek(0, io.SEEK_END) != self.size:
            raw.truncate(self.size)

    def is_of(self, raw: io.FileIO) -> bool:
        """Whether it belongs to a file: a file copied over another leaves the other's journal."""
        size = raw.seek(0, io.SEEK_END)
        raw.seek(0)
        return size >= self.size and self.guard in (raw.read(GUARD_WITHIN_BYTES) or b"")

    def changes(self, raw: io.FileIO) -> bool:
        """Whether the file differs from the result of this commit."""
        for number, page in self.pages.items():
            raw.seek(number * PAGE_BYTES)
            if raw.read(len(page)) != page:
                return True
        return raw.seek(0, io.SEEK_END) != self.size


def journal_path(path: Path) -> Path:
    """Path of the journal of a file."""
    return path.with_name(path.name + ".journal")


def settle(path: Path) -> bool:
    """Finish a commit that a kill interrupted, and remove the journal.

    Parameters
    ----------
    path : Path
        A file that no program is writing.

    Returns
    -------
    bool
        Whether the file had to be changed.

    Raises
    ------
    FileLockedError
        If another program uses the file.
    OSError
        If the file must be changed but cannot be.
    """
    beside = journal_path(path)
    # A link would lead to bytes that no program of ours put there.
    if beside.is_symlink() or not beside.is_file():
        return False
    journal = unpacked(read_ordinary(beside))
    with disk.open_raw(path, "rb") as raw:
        disk.lock(raw)
        changed = journal is not None and journal.is_of(raw) and journal.changes(raw)
        if journal is not None and changed:
            with disk.open_raw(path, "rb+") as target:
                journal.apply(target)
                disk.force(target)
        with contextlib.suppress(OSError):  # read-only folder: nothing to settle, no harm
            os.unlink(beside)
    return changed


def unpacked(data: bytes) -> Journal | None:
    """The journal at the beginning of some bytes, or None if it is incomplete."""
    try:
        magic, guard, size, count = _HEAD.unpack_from(data)
        at = _HEAD.size
        pages = {}
        for _ in range(count):
            offset, length = _PAGE.unpack_from(data, at)
            at += _PAGE.size
            pages[offset // PAGE_BYTES] = data[at : at + length]
            at += length
        (check,) = _CHECK.unpack_from(data, at)
    except struct.error:
        return None
    if magic != _MAGIC or check != zlib.crc32(data[:at]):
        return None
    return Journal(guard, size, pages)
