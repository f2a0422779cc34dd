"""Photos: the photos and films that belong to a record.

No file is copied. The record keeps its name, its SHA-256 and, for a film, when the flash is
seen. A report shows the photo while the file is still there and unchanged.
"""

from __future__ import annotations

import base64
import hashlib
import io
import sys
from dataclasses import dataclass
from pathlib import Path

from tautlog.errors import RecordError
from tautlog.files.ordinary import read_ordinary, require_ordinary
from tautlog.record import Photo

SIDE_PIXELS = 420
# What phones and cameras write. Nothing else is opened as an image, whatever its name says: some
# formats start another program (EPS starts a PostScript interpreter), others are rarely tested.
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")  # the last where a plug-in of the library reads it
MOST_BYTES = 64_000_000  # own choice: a photo has some 10 MB
MOST_PIXELS = 120_000_000  # own choice: the largest telephones have 108 million


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
        If the file cannot be read, or is no ordinary file: a pipe would never end.
    """
    try:
        require_ordinary(path, sys.maxsize)  # a film is as long as it is
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
    data, why_not = _image(path, photo.sha256)
    return Thumbnail(photo.name, data, alt, f"{caption} {why_not}".strip())


def _image(path: Path, sha256: str) -> tuple[str, str]:
    """A data URL of an unchanged photo, and "", or "" and why there is none."""
    if not path.is_file():
        return "", "(not in this folder)"
    try:
        # What is shown is what was hashed: it is read once. A larger file is only hashed.
        content = read_ordinary(path, MOST_BYTES) if path.stat().st_size <= MOST_BYTES else b""
        found = hashlib.sha256(content).hexdigest() if content else digest_of(path)[0]
    except (OSError, RecordError):
        return "", "(cannot be read)"
    if found != sha256:
        return "", "(changed since it was entered)"
    data = _small_jpeg(content)
    return data, "" if data else "(not shown: it is not a photo in JPEG, PNG or WebP)"


def _small_jpeg(content: bytes) -> str:
    """A small JPEG of an image as a data URL, or "" if it is none, or larger than allowed."""
    from PIL import Image, UnidentifiedImageError

    Image.init()
    known = [name for name in FORMATS if name in Image.OPEN]
    try:
        with Image.open(io.BytesIO(content), formats=known) as image:
            if image.width * image.height > MOST_PIXELS:
                return ""
            image.thumbnail((SIDE_PIXELS, SIDE_PIXELS))
            out = io.BytesIO()
            image.convert("RGB").save(out, "JPEG", quality=80)
    except (
        OSError,
        UnidentifiedImageError,
        ValueError,
        SyntaxError,  # of a broken PNG
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ):
        return ""
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
