"""Photos: names, hashes and the flash's offset of pictures and films, kept with a record.

Nothing is copied: the record says which file it was, by its SHA-256, and a report shows
it where it still lies.
"""

from __future__ import annotations

import base64
import hashlib
import io
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import RecordError
from tautlog.record import Photo

SIDE_PIXELS = 420


@dataclass(frozen=True)
class Shown:
    """A photo as a report shows it: name, thumbnail as a data address or "", and words."""

    name: str
    data: str
    alt: str
    told: str


def digest_of(path: Path) -> tuple[str, int]:
    """SHA-256 and size of a file.

    Raises
    ------
    RecordError
        If it cannot be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest(), file.tell()
    except OSError as problem:
        raise RecordError(f"{path} cannot be read: {problem.strerror}", path=str(path)) from problem


def shown(photo: Photo, folder: Path) -> Shown:
    """A photo as it may be shown: only one that lies in the record's folder, unchanged."""
    # A name that leads elsewhere is looked for by its last part alone.
    path = folder / Path(photo.name.replace("\\", "/")).name
    told = photo.note
    if photo.offset_s is not None:
        told = f"{told} flash at {photo.offset_s:g} s of the film".strip()
    alt = f"photo {photo.name}: {photo.note or 'no remark'}"
    if not path.is_file():
        return Shown(photo.name, "", alt, f"{told} (not in this folder)".strip())
    if digest_of(path)[0] != photo.sha256:
        return Shown(photo.name, "", alt, f"{told} (another file than was entered)".strip())
    return Shown(photo.name, _thumbnail(path), alt, told)


def _thumbnail(path: Path) -> str:
    """A small JPEG of a picture as a data address, or "" where it is none."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as image:
            image.thumbnail((SIDE_PIXELS, SIDE_PIXELS))
            out = io.BytesIO()
            image.convert("RGB").save(out, "JPEG", quality=80)
    except (OSError, UnidentifiedImageError, ValueError, Image.DecompressionBombError):
        return ""
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
