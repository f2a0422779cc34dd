"""Journaled file: what h5py writes goes through it, and takes effect together; see `journal`."""

from __future__ import annotations

import contextlib
import io
import os
from pathlib import Path

from tautlog.record import disk, journal
from tautlog.record.journal import GUARD_BYTES, PAGE_BYTES, Journal

_COPY_BYTES = 1 << 20


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
            journal.settle(path)  # the journal is about to be overwritten
        self._raw: io.FileIO = disk.open_raw(path, "xb+" if new else "rb+")
        try:
            disk.lock(self._raw)
            self._size = self._raw.seek(0, io.SEEK_END)
            self._journal: io.FileIO = disk.open_beside(journal.journal_path(path))
        except OSError:
            self._raw.close()
            raise
        disk.force_folder(path.parent)
        self.identity = disk.identity_of(self._raw.fileno())
        self._journal_identity = disk.identity_of(self._journal.fileno())
        self._at = 0
        self._committed = self._size
        self._pages: dict[int, bytearray] = {}
        self._discarding = False
        self._applying = False  # from here on only the journal tells how the file was to be

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
            disk.read_all(self._raw, self._at, view)
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
                    disk.write_all(self._raw, start + old, view[old:])
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
            disk.force(self._raw)
            if self._pages or self._size != self._committed:
                change = Journal(self._guard, self._size, self._pages)
                disk.write_all(self._journal, 0, change.packed())
                disk.force(self._journal)
                self._applying = True
                change.apply(self._raw)
        except OSError as problem:
            self._fail(problem)
            raise
        self._committed = self._size
        self._pages = {}
        self._applying = False
        self.must_be_there()

    def must_be_there(self) -> None:
        """Make sure that whoever looks under the names finds these very files.

        Raises
        ------
        FileGoneError
            If the file or its journal was removed, moved or replaced.
        """
        for path in (self.path, journal.journal_path(self.path)):
            if not self.owns(path):
                raise disk.FileGoneError(f"{path} was removed, moved or replaced")

    def owns(self, path: Path) -> bool:
        """Whether the file under a name is this one, or its journal."""
        return disk.is_one_of(path, self.identity, self._journal_identity)

    def fileno(self) -> int:
        """Number of the open file, whatever its name is now."""
        return self._raw.fileno()

    def copy_committed(self, target: Path) -> None:
        """Write what was committed last to a new file; it is on disk on return.

        Raises
        ------
        FileExistsError
            If there is a file of that name.
        OSError
            If it cannot be written; nothing is left of it then.
        """
        with disk.open_raw(target, "xb+") as copy:
            try:
                for start in range(0, self._committed, _COPY_BYTES):
                    part = memoryview(bytearray(min(_COPY_BYTES, self._committed - start)))
                    disk.read_all(self._raw, start, part)
                    disk.write_all(copy, start, part)
                disk.force(copy)
            except OSError:
                target.unlink(missing_ok=True)
                raise
        disk.force_folder(target.parent)

    def discard(self) -> None:
        """Forget what was not committed, and whatever is written from now on."""
        self._discarding = True
        self._pages = {}

    def close(self) -> None:
        """Close the file, which needs no journal any more. May be called twice."""
        if self._raw.closed:
            return
        self.discard()
        beside = journal.journal_path(self.path)
        # A journal that is not ours belongs to whoever put it there.
        settled = self.failure is None and self.owns(beside)
        if self.failure is not None and not self._applying and self.owns(beside):
            self._take_back(beside)
        with contextlib.suppress(OSError):
            disk.force(self._raw)
        with contextlib.suppress(OSError):
            self._raw.close()
        with contextlib.suppress(OSError):
            self._journal.close()
        if settled:
            with contextlib.suppress(OSError):
                os.unlink(beside)
            disk.force_folder(self.path.parent)

    # Inside

    def _take_back(self, beside: Path) -> None:
        """Cut off what a disk took of a commit that it refused, unless nothing was committed."""
        if self._committed:
            with contextlib.suppress(OSError):  # a longer file reads the same
                os.unlink(beside)
                self._raw.truncate(self._committed)

    def _fail(self, problem: OSError) -> None:
        self.failure = self.failure or problem
        self.discard()

    def _overlay(self, view: memoryview) -> None:
        """Put kept pages over what the disk said of the bytes from `_at` on."""
        start, end = self._at, self._at + len(view)
        for number in range(start // PAGE_BYTES, (end - 1) // PAGE_BYTES + 1):
            base, page = number * PAGE_BYTES, self._pages.get(number, b"")
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
                disk.read_all(self._raw, base, memoryview(page))
                self._pages[number] = page
            count = min(len(view) - done, len(page) - within)
            page[within : within + count] = view[done : done + count]
            done += count
