"""Ordinary files: read whole, if they are files at all and not larger than a campaign's can be."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

MOST_BYTES = 1 << 26  # 64 MiB; own choice: ten thousand lines of a ledger are three

# Own choices. A file system may compress, but noise hardly at all; bytes by the POSIX st_blocks.
_HOLES_FROM_BYTES, _HOLES, _BLOCK_BYTES = 1 << 26, 16, 512


def is_mostly_holes(found: os.stat_result) -> bool:
    """Whether a file claims many bytes and almost none is on disk: reading it may never end."""
    on_disk = getattr(found, "st_blocks", None)  # not stated by Windows
    if on_disk is None or found.st_size <= _HOLES_FROM_BYTES:
        return False
    return bool(found.st_size > _HOLES * _BLOCK_BYTES * on_disk)


def require_ordinary(path: Path, most_bytes: int = MOST_BYTES) -> None:
    """Refuse what would never end or never begin to be read: a pipe, a device, a huge file.

    Raises
    ------
    OSError
        With the reason as its `strerror`; FileNotFoundError if there is nothing.
    """
    found = os.stat(path)
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "it is not an ordinary file")
    if found.st_size > most_bytes:
        raise OSError(errno.EFBIG, f"it has {found.st_size} bytes, {most_bytes} are allowed")


def require_own(path: Path) -> None:
    """Refuse a file that is only a link to another: what is kept must lie where it is kept.

    Raises
    ------
    OSError
        With the reason as its `strerror`.
    """
    if path.is_symlink():
        raise OSError(errno.ELOOP, "it is a link to another file: put the file itself in its place")


def read_ordinary(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of an ordinary file; raises as `require_ordinary` does."""
    require_ordinary(path, most_bytes)
    return path.read_bytes()


def read_lines(path: Path) -> list[bytes]:
    """Lines of an ordinary file, without their ends; raises as `require_ordinary` does."""
    return with_line_feeds(read_ordinary(path)).split(b"\n")


def with_line_feeds(content: bytes) -> bytes:
    """Text with the line ends of this program: a checkout on Windows writes two signs for each."""
    return content.replace(b"\r\n", b"\n")
