"""Record path: the name of a new record, of time and article."""

from __future__ import annotations

import os
import re
import unicodedata
from datetime import UTC, datetime
from pathlib import Path

_ARTICLE_LETTERS = 60


def next_record_path(
    folder: str | os.PathLike[str], article: str = "", *, now: datetime | None = None
) -> Path:
    """Return a name for a new record in a folder, of UTC and article; none exists of that name.

    Parameters
    ----------
    folder : path
        Where the record goes; the name never leads out of it.
    article : str
        As people typed it; letters, digits, ``.`` and ``-`` of it are used.
    now : datetime, optional
        Time of the drop; now if left out.
    """
    # Taken apart first, so that an accented letter leaves its plain one.
    plain = unicodedata.normalize("NFKD", article).encode("ascii", "ignore").decode()
    plain_name = re.sub(r"[^A-Za-z0-9.]+", "-", plain)[:_ARTICLE_LETTERS].strip(".-") or "drop"
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    name = f"{moment:%Y-%m-%dT%H-%M-%SZ}_{plain_name}"
    path, number = Path(folder) / f"{name}.h5", 1
    while os.path.lexists(path):
        number += 1
        path = Path(folder) / f"{name}_{number}.h5"
    return path
