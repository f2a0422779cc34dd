"""New file: whole under its name or not there, and never in place of another file.

A file that is to be replaced on purpose is kept under the next free number.
"""

from __future__ import annotations

import contextlib
import itertools
import os
from collections.abc import Iterator
from pathlib import Path

from tautlog.errors import RecordError, RecordExistsError


@contextlib.contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Give a draft to write to, and name it when it is written.

    Parameters
    ----------
    path : Path
        The file to make.

    Yields
    ------
    Path
        The draft to write, in the same folder and with the same ending.

    Raises
    ------
    RecordExistsError
        If a file of that name exists, before or meanwhile.
    RecordError
        If the disk refuses; then nothing is left.
    """
    refuse_taken(path)
    with _draft_of(path) as draft:
        yield draft
        _force(draft)
        _name(draft, path)


def replacing_file(path: Path, content: bytes) -> Path | None:
    """Write a whole file; a file that has its name by then is kept under a number.

    Parameters
    ----------
    path : Path
        The file to make.
    content : bytes
        What it holds.

    Returns
    -------
    Path or None
        Where the old file is now, such as report-1.html; None if there was none.

    Raises
    ------
    RecordError
        If the name is not that of an ordinary file, or the disk refuses; then the old file has
        its name still.
    """
    if path.exists() and not path.is_file():
        raise RecordError(f"{path} is no file: choose another name", path=str(path))
    with _draft_of(path) as draft:
        draft.write_bytes(content)
        _force(draft)
        kept = _numbered(path) if path.exists() else None
        draft.replace(path)
    return kept


def new_or_replaced(path: Path, content: bytes, *, replace: bool) -> Path | None:
    """Write a new file, or one in place of another that is kept; see `replacing_file`."""
    if replace:
        return replacing_file(path, content)
    with new_file(path) as draft:
        draft.write_bytes(content)
    return None


def _numbered(path: Path) -> Path:
    """Give a file a second name with the next free number; the first is free to be taken."""
    for number in itertools.count(1):
        place = path.with_name(f"{path.stem}-{number}{path.suffix}")
        try:
            os.link(path, place)
        except FileExistsError:
            continue
        except OSError:  # a disk without links
            if place.exists():
                continue
            path.rename(place)
        return place
    raise AssertionError("there is always a next number")


@contextlib.contextmanager
def _draft_of(path: Path) -> Iterator[Path]:
    """Give a draft in the folder of a file; nothing of it stays."""
    draft = path.with_name(f".{path.stem[:80]}-{os.getpid()}-unfinished{path.suffix}")
    try:
        yield draft
    except RecordError:
        raise
    except OSError as problem:
        raise RecordError(
            f"{path} cannot be written: {problem.strerror or problem}", path=str(path)
        ) from problem
    finally:
        with contextlib.suppress(OSError):  # a disk that can only be read has none
            draft.unlink(missing_ok=True)


def _force(draft: Path) -> None:
    """Force a draft to disk: a name must not come before what it names."""
    with open(draft, "rb+") as file:
        os.fsync(file.fileno())


def _name(draft: Path, path: Path) -> None:
    """Give a draft its name, unless another file has it by now."""
    try:
        os.link(draft, path)
    except FileExistsError as problem:
        raise _exists(path) from problem
    except OSError:  # a disk without links
        refuse_taken(path)
        draft.rename(path)


ANOTHER_NAME = "choose another name"
OR_REPLACE = (
    f"{ANOTHER_NAME}, or give --replace, which keeps the older file under the next free number"
)


def refuse_taken(path: Path, mend: str = ANOTHER_NAME) -> None:
    """Raise RecordExistsError, with how to mend it, if a file of that name exists."""
    if path.exists():
        raise _exists(path, mend)


def _exists(path: Path, mend: str = ANOTHER_NAME) -> RecordExistsError:
    return RecordExistsError(f"{path} exists already: {mend}", path=str(path))
