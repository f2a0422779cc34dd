"""A file whose changes take effect together, whatever kills the program.

An HDF5 file that is being extended is rewritten in several places at once: its
superblock, object headers, the nodes of its chunk index. A program that dies
between two of those writes leaves a file that may have lost samples written
long before. (Enumerated with h5py 3.16: of 989 states between two writes of a
growing data set, 9 could not be read, each where a node of the index was split.)

`JournaledFile` stands between h5py and the disk. What is new goes to the end of
the file at once: nothing refers to it yet. What would overwrite older bytes is
kept in memory, as pages, until `commit`, which

1. forces the file to disk, with all that was added at its end;
2. writes the changed pages into a journal beside the file and forces that to disk;
3. writes the pages into the file itself.

A kill before the end of step 2 leaves the file as the last commit left it; one
after it leaves a complete journal, from which `settle` does step 3 again. After
step 2 everything survives a loss of power too: step 1 of the next commit forces
step 3 of this one to disk before the journal is overwritten.

Journal
-------
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
from dataclasses import dataclass
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows: no lock, and a second writer is not refused
    fcntl = None  # type: ignore[assignment]

LOCKS = fcntl is not None
PAGE_BYTES = 4096
GUARD_BYTES = 32
GUARD_WITHIN_BYTES = 1 << 20
_COPY_BYTES = 1 << 20
_MAGIC = b"tautjrn1"
_HEAD = struct.Struct(f"<8s{GUARD_BYTES}sQI")
_PAGE = struct.Struct("<QI")
_CHECK = struct.Struct("<I")


class FileLockedError(OSError):
    """Another program has the file open for writing (or, for a writer, at all)."""


class FileGoneError(OSError):
    """The file, or its journal, was removed, moved or replaced while it was written."""


class JournaledFile:
    """A binary file, for h5py's file-object driver, with atomic commits.

    Parameters
    ----------
    path : Path
        The file.
    guard : bytes of length GUARD_BYTES
        What tells this file from another of the same name; it must stand in the
        file's first MiB from the first commit on.
    new : bool
        Make the file; it must not exist.

    Attributes
    ----------
    identity : tuple of int
        Device and inode.
    failure : OSError or None
        First error of the disk. From then on nothing reaches the file any more:
        it stays as the last commit left it, and HDF5 can close in peace.

    Raises
    ------
    FileExistsError
        If the file is to be made and exists.
    FileLockedError
        If another program uses it.
    OSError
        If it cannot be opened.
    """

    def __init__(self, path: Path, guard: bytes, *, new: bool) -> None:
        if len(guard) != GUARD_BYTES:
            raise ValueError(f"`guard` must have {GUARD_BYTES} bytes, had {len(guard)}")
        self.path = path
        self.failure: OSError | None = None
        self._guard = guard
        if not new:
            settle(path)  # the journal is about to be overwritten
        self._raw: io.FileIO = open_raw(path, "xb+" if new else "rb+")
        try:
            lock(self._raw)
            self._size = self._raw.seek(0, io.SEEK_END)
            self._journal: io.FileIO = open_raw(journal_path(path), "wb")
        except OSError:
            self._raw.close()
            raise
        force_folder(path.parent)
        self.identity = _identity(os.fstat(self._raw.fileno()))
        self._journal_identity = _identity(os.fstat(self._journal.fileno()))
        self._at = 0
        self._committed = self._size
        self._pages: dict[int, bytearray] = {}
        self._discarding = False

    # What h5py calls

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go to `offset`; the new place."""
        self._at = offset + (0, self._at, self._size)[whence]
        return self._at

    def tell(self) -> int:
        """Where the next read or write happens."""
        return self._at

    def readinto(self, buffer: memoryview) -> int:
        """Fill `buffer`; zeros beyond the end of the file."""
        view = memoryview(buffer).cast("B")
        try:
            self._read_raw(self._at, view)
        except OSError as problem:
            self._fail(problem)
        self._overlay(view)
        self._at += len(view)
        return len(view)

    def read(self, count: int = -1) -> bytes:
        """Return `count` bytes, or all to the end."""
        buffer = bytearray(max(self._size - self._at, 0) if count < 0 else count)
        self.readinto(memoryview(buffer))
        return bytes(buffer)

    def write(self, data: bytes) -> int:
        """Keep what changes old bytes, pass on what is new."""
        view = memoryview(data).cast("B")
        if not self._discarding:
            start, old = self._at, max(min(self._committed - self._at, len(view)), 0)
            try:
                self._keep(start, view[:old])
                if old < len(view):
                    write_all(self._raw, start + old, view[old:])
            except OSError as problem:
                self._fail(problem)
        self._at += len(view)
        self._size = max(self._size, self._at)
        return len(view)

    def truncate(self, size: int | None = None) -> int:
        """Set the size; a file gets shorter only when it is committed."""
        self._size = self._at if size is None else size
        if not self._discarding:
            try:
                if self._size > os.fstat(self._raw.fileno()).st_size:
                    self._raw.truncate(self._size)
            except OSError as problem:
                self._fail(problem)
        return self._size

    def flush(self) -> None:
        """Do nothing: only `commit` decides what is on disk."""

    # What the record calls

    def commit(self) -> None:
        """Make everything written so far take effect; on disk when it returns.

        Raises
        ------
        OSError
            If the disk refuses now or refused before; the file is then as the
            last commit left it, but for what `settle` repairs.
        FileGoneError
            If what was committed is not under its name any more.
        """
        if self.failure is not None:
            raise self.failure
        try:
            force(self._raw)
            if self._pages or self._size != self._committed:
                write_all(self._journal, 0, _journal_bytes(self._guard, self._size, self._pages))
                force(self._journal)
                _apply(self._raw, self._size, self._pages)
        except OSError as problem:
            self._fail(problem)
            raise
        self._committed = self._size
        self._pages = {}
        self.must_be_there()

    def must_be_there(self) -> None:
        """Make sure that whoever looks under the names finds these very files.

        Raises
        ------
        FileGoneError
            If the file or its journal was removed, moved or replaced.
        """
        for path in (self.path, journal_path(self.path)):
            if not self.owns(path):
                raise FileGoneError(f"{path} was removed, moved or replaced")

    def owns(self, path: Path) -> bool:
        """Whether the file under a name is this one, or its journal."""
        return _is_one_of(path, self.identity, self._journal_identity)

    def new_place(self) -> Path | None:
        """Where the file is after it was moved, or None where nobody knows."""
        try:
            place = Path(os.readlink(f"/proc/self/fd/{self._raw.fileno()}"))
        except OSError:
            return None  # not on this system
        return place if _is_one_of(place, self.identity) else None

    def copy_committed(self, target: Path) -> None:
        """Write what was committed last to a new file; it is on disk on return.

        Raises
        ------
        FileExistsError
            If there is a file of that name.
        OSError
            If it cannot be written; nothing is left of it then.
        """
        with open_raw(target, "xb+") as copy:
            try:
                for start in range(0, self._committed, _COPY_BYTES):
                    part = memoryview(bytearray(min(_COPY_BYTES, self._committed - start)))
                    self._read_raw(start, part)
                    write_all(copy, start, part)
                force(copy)
            except OSError:
                target.unlink(missing_ok=True)
                raise
        force_folder(target.parent)

    def discard(self) -> None:
        """Forget what was not committed, and whatever is written from now on."""
        self._discarding = True
        self._pages = {}

    def close(self) -> None:
        """Close the file, which needs no journal any more. May be called twice."""
        if self._raw.closed:
            return
        self.discard()
        beside = journal_path(self.path)
        # A journal that is not ours belongs to whoever put it there.
        settled = self.failure is None and self.owns(beside)
        with contextlib.suppress(OSError):
            force(self._raw)
        with contextlib.suppress(OSError):
            self._raw.close()
        with contextlib.suppress(OSError):
            self._journal.close()
        if settled:
            with contextlib.suppress(OSError):
                os.unlink(beside)
            force_folder(self.path.parent)

    # Inside

    def _fail(self, problem: OSError) -> None:
        self.failure = self.failure or problem
        self.discard()

    def _read_raw(self, offset: int, view: memoryview) -> None:
        self._raw.seek(offset)
        got = 0
        while got < len(view):
            count = self._raw.readinto(view[got:])
            if not count:
                break
            got += count
        view[got:] = bytes(len(view) - got)

    def _overlay(self, view: memoryview) -> None:
        """Put kept pages over what the disk said of the bytes from `_at` on."""
        start, end = self._at, self._at + len(view)
        for number in range(start // PAGE_BYTES, (end - 1) // PAGE_BYTES + 1):
            page = self._pages.get(number)
            if page is None:
                continue
            base = number * PAGE_BYTES
            low, high = max(start, base), min(end, base + len(page))
            if low < high:
                view[low - start : high - start] = page[low - base : high - base]

    def _keep(self, offset: int, view: memoryview) -> None:
        done = 0
        while done < len(view):
            number, within = divmod(offset + done, PAGE_BYTES)
            page = self._pages.get(number)
            if page is None:
                base = number * PAGE_BYTES
                page = bytearray(min(PAGE_BYTES, self._committed - base))
                self._read_raw(base, memoryview(page))
                self._pages[number] = page
            count = min(len(view) - done, len(page) - within)
            page[within : within + count] = view[done : done + count]
            done += count


@dataclass(frozen=True)
class Journal:
    """A complete journal, as read: `pages` by their number."""

    guard: bytes
    size: int
    pages: dict[int, bytearray]


def journal_path(path: Path) -> Path:
    """Where the journal of `path` stands."""
    return path.with_name(path.name + ".journal")


def settle(path: Path) -> bool:
    """Finish a commit that a kill interrupted, and remove the journal.

    Parameters
    ----------
    path : Path
        A file that nobody writes now.

    Returns
    -------
    bool
        Whether the file had to be changed.

    Raises
    ------
    FileLockedError
        If another program uses the file.
    OSError
        If the file must be changed and cannot be.
    """
    beside = journal_path(path)
    try:
        journal = read_journal(beside)
    except FileNotFoundError:
        return False
    with open_raw(path, "rb") as raw:
        lock(raw)
        size = raw.seek(0, io.SEEK_END)
        raw.seek(0)
        # A record copied over another leaves the other's journal behind.
        ours = journal is not None and journal.guard in (raw.read(GUARD_WITHIN_BYTES) or b"")
        changed = False
        if journal is not None and ours and size >= journal.size and _differs(raw, journal):
            with open_raw(path, "rb+") as target:
                _apply(target, journal.size, journal.pages)
                force(target)
            changed = True
        with contextlib.suppress(OSError):  # read-only folder: nothing to settle, no harm
            os.unlink(beside)
    return changed


def read_journal(beside: Path) -> Journal | None:
    """Return the journal in a file, or None when it is not complete.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    data = beside.read_bytes()
    try:
        magic, guard, size, count = _HEAD.unpack_from(data)
        at = _HEAD.size
        pages = {}
        for _ in range(count):
            offset, length = _PAGE.unpack_from(data, at)
            at += _PAGE.size
            pages[offset // PAGE_BYTES] = bytearray(data[at : at + length])
            at += length
        (check,) = _CHECK.unpack_from(data, at)
    except struct.error:
        return None
    if magic != _MAGIC or check != zlib.crc32(data[:at]):
        return None
    return Journal(guard, size, pages)


def _journal_bytes(guard: bytes, size: int, pages: dict[int, bytearray]) -> bytes:
    parts = [_HEAD.pack(_MAGIC, guard, size, len(pages))]
    for number, page in sorted(pages.items()):
        parts += [_PAGE.pack(number * PAGE_BYTES, len(page)), bytes(page)]
    body = b"".join(parts)
    return body + _CHECK.pack(zlib.crc32(body))


def _apply(raw: io.FileIO, size: int, pages: dict[int, bytearray]) -> None:
    for number, page in sorted(pages.items()):
        write_all(raw, number * PAGE_BYTES, memoryview(page))
    if raw.seek(0, io.SEEK_END) != size:
        raw.truncate(size)


def _differs(raw: io.FileIO, journal: Journal) -> bool:
    for number, page in journal.pages.items():
        raw.seek(number * PAGE_BYTES)
        if raw.read(len(page)) != page:
            return True
    return raw.seek(0, io.SEEK_END) != journal.size


# The disk. Tests put a recorder of every write in place of these.


def open_raw(path: Path, mode: str) -> io.FileIO:
    """Open a file without any buffer."""
    return io.FileIO(path, mode.replace("b", ""))


def _identity(state: os.stat_result) -> tuple[int, int]:
    return state.st_dev, state.st_ino


def identity_of(path: Path) -> tuple[int, int]:
    """Device and inode of the file under a name.

    Raises
    ------
    OSError
        If there is none.
    """
    return _identity(os.stat(path))


def _is_one_of(path: Path, *identities: tuple[int, int]) -> bool:
    try:
        return identity_of(path) in identities
    except (OSError, ValueError):
        return False


def write_all(raw: io.FileIO, offset: int, data: bytes | memoryview) -> None:
    """Write all of `data` at `offset`; a raw file may take less at a time."""
    view = memoryview(data)
    raw.seek(offset)
    while len(view):
        view = view[raw.write(view) or 0 :]


def force(raw: io.FileIO) -> None:
    """Return only when the file's bytes are on the disk."""
    os.fsync(raw.fileno())


def force_folder(folder: Path) -> None:
    """Force names made or removed in a folder to disk, where a system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def lock(raw: io.FileIO) -> None:
    """Keep other programs, also plain HDF5 readers, off a file while it is open.

    The same advisory lock that the HDF5 library takes by itself.

    Raises
    ------
    FileLockedError
        If another program holds it.
    """
    if fcntl is None:
        return
    try:
        fcntl.flock(raw.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as problem:
        raise FileLockedError(f"another program uses {raw.name}") from problem
    except OSError:
        return  # a file system without locks, such as some network folders
