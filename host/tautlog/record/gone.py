"""Gone: saves a record whose file was removed, moved or replaced while it was written.

The committed data is still in the open file, whatever happened to its name.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tautlog.errors import RecordGoneError
from tautlog.record import disk
from tautlog.record.journaled_file import JournaledFile

_NAMES = 1000


def save_gone(raw: JournaledFile, *, whole: bool) -> RecordGoneError:
    """Save the open file under another name, and return the error that names both.

    Parameters
    ----------
    raw : JournaledFile
        A committed file that is no longer under its name.
    whole : bool
        Its record is finished.
    """
    moved = _new_place(raw)
    saved = moved or _saved(raw)
    if saved is None:
        message = (
            f"{raw.path} was removed or replaced while it was written, and its data could not be "
            "saved anywhere"
        )
        return RecordGoneError(message, path=str(raw.path), saved="", whole=False)
    how = (
        "moved while it was written: it is now"
        if moved
        else "removed or replaced while it was written: its data is saved as"
    )
    return RecordGoneError(
        f"{raw.path} was {how} {saved}", path=str(raw.path), saved=str(saved), whole=whole
    )


def _new_place(raw: JournaledFile) -> Path | None:
    """Where the file was moved to, or None if unknown."""
    try:
        place = Path(os.readlink(f"/proc/self/fd/{raw.fileno()}"))
    except OSError:
        return None  # not on this system
    return place if disk.is_one_of(place, raw.identity) else None


def _saved(raw: JournaledFile) -> Path | None:
    for folder in _folders(raw.path):
        for number in range(1, _NAMES):
            target = folder / f"{raw.path.stem}_saved{number}{raw.path.suffix}"
            try:
                raw.copy_committed(target)
            except FileExistsError:
                continue
            except OSError:
                break  # not in this folder
            return target
    return None


def _folders(path: Path) -> Iterator[Path]:
    """The file's folder, the current folder and the folder for temporary files."""
    yield path.parent
    with contextlib.suppress(OSError):  # the present folder is gone, too
        yield Path.cwd()
    yield Path(tempfile.gettempdir())
