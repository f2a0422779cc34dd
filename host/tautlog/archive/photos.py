"""Photos: the photos and films that belong to a record.

No file is copied. The record keeps its name, its SHA-256 and, for a film, when the flash is
seen. A report shows the photo while the file is still there and unchanged.
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
class Thumbnail:
    """A photo in a report: its name, the image as a data URL or "", alt text and caption."""

    name: str
    data: str
    alt: str
    caption: str


def digest_of(path: Path) -> tuple[str, int]:
    """SHA-256 and size of a file.

    Raises
    ------
    RecordError
        If the file cannot be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest(), file.tell()
    except OSError as problem:
        raise RecordError(f"{path} cannot be read: {problem.strerror}", path=str(path)) from problem


def thumbnail(photo: Photo, folder: Path) -> Thumbnail:
    """A photo for a report. Only a photo in the record's folder, and unchanged, has an image."""
    # Never follow a path that leads out of the folder: use the last part alone.
    path = folder / Path(photo.name.replace("\\", "/")).name
    caption = photo.note
    if photo.offset_s is not None:
        caption = f"{caption} flash at {photo.offset_s:g} s of the film".strip()
    alt = f"photo {photo.name}: {photo.note or 'no note'}"
    if not path.is_file():
        return Thumbnail(photo.name, "", alt, f"{caption} (not in this folder)".strip())
    if digest_of(path)[0] != photo.sha256:
        return Thumbnail(photo.name, "", alt, f"{caption} (changed since it was entered)".strip())
    return Thumbnail(photo.name, _small_jpeg(path), alt, caption)


def _small_jpeg(path: Path) -> str:
    """A small JPEG of an image as a data URL, or "" if the file is not an image."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as image:
            image.thumbnail((SIDE_PIXELS, SIDE_PIXELS))
            out = io.BytesIO()
            image.convert("RGB").save(out, "JPEG", quality=80)
    except (OSError, UnidentifiedImageError, ValueError, Image.DecompressionBombError):
        return ""
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
