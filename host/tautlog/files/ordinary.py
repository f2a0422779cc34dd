"""Ordinary files: read whole, if they are files at all and not larger than a campaign's can be."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

MOST_BYTES = 1 << 26  # 64 MiB; own choice: ten thousand lines of a ledger are three


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


def read_ordinary(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of an ordinary file; raises as `require_ordinary` does."""
    require_ordinary(path, most_bytes)
    return path.read_bytes()
