"""New file: whole under its name, or not there; never in the place of another."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from tautlog.errors import RecordError, RecordExistsError


@contextlib.contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Give a place to write to, and put what was written there under its own name.

    Parameters
    ----------
    path : Path
        File to make.

    Yields
    ------
    Path
        Where to write it, in the same folder and with the same ending.

    Raises
    ------
    RecordExistsError
        If there is a file of that name, before or meanwhile.
    RecordError
        If the disk refuses; nothing is left then.
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
    """Give a draft its name, unless somebody else has it by now."""
    try:
        os.link(draft, path)
    except FileExistsError as problem:
        raise _exists(path) from problem
    except OSError:  # a disk that knows no links
        refuse_taken(path)
        draft.rename(path)


def refuse_taken(path: Path) -> None:
    """Raise RecordExistsError where there is a file of that name."""
    if path.exists():
        raise _exists(path)


def _exists(path: Path) -> RecordExistsError:
    return RecordExistsError(f"{path} exists already: choose another name", path=str(path))
