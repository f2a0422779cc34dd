"""New file: whole under its name or not there, and never in place of another file."""

from __future__ import annotations

import contextlib
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
    draft = path.with_name(f".{path.stem[:80]}-{os.getpid()}-unfinished{path.suffix}")
    try:
        yield draft
        _name(draft, path)
    except RecordError:
        raise
    except OSError as problem:
        raise RecordError(
            f"{path} cannot be written: {problem.strerror or problem}", path=str(path)
        ) from problem
    finally:
        draft.unlink(missing_ok=True)


def _name(draft: Path, path: Path) -> None:
    """Give a draft its name, unless another file has it by now."""
    try:
        os.link(draft, path)
    except FileExistsError as problem:
        raise _exists(path) from problem
    except OSError:  # a disk without links
        refuse_taken(path)
        draft.rename(path)


def refuse_taken(path: Path) -> None:
    """Raise RecordExistsError if a file of that name exists."""
    if path.exists():
        raise _exists(path)


def _exists(path: Path) -> RecordExistsError:
    return RecordExistsError(f"{path} exists already: choose another name", path=str(path))
