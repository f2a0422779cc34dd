"""Record path: the name of a new record, from time and article."""

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
    """Return an unused name for a new record in a folder, from UTC and article.

    Parameters
    ----------
    folder : path
        Where the record goes; the name never leads out of it.
    article : str
        Name as typed; its letters, digits, ``.`` and ``-`` are used.
    now : datetime, optional
        Time of the drop (default: now).
    """
    # Decomposed first, so that an accented letter leaves its plain letter.
    plain = unicodedata.normalize("NFKD", article).encode("ascii", "ignore").decode()
    plain_name = re.sub(r"[^A-Za-z0-9.]+", "-", plain)[:_ARTICLE_LETTERS].strip(".-") or "drop"
    utc = (now or datetime.now(UTC)).astimezone(UTC)
    name = f"{utc:%Y-%m-%dT%H-%M-%SZ}_{plain_name}"
    path, number = Path(folder) / f"{name}.h5", 1
    while os.path.lexists(path):
        number += 1
        path = Path(folder) / f"{name}_{number}.h5"
    return path
