"""Photos in a report: only what a camera writes is opened, and only what was hashed is shown."""

import hashlib
import io
import os
import stat

import pytest
from PIL import Image

from tautlog.archive import photos
from tautlog.errors import RecordError
from tautlog.record import Photo


def entered(path, note=""):
    digest, size = photos.digest_of(path)
    return Photo(
        name=path.name,
        sha256=digest,
        size=size,
        note=note,
        offset_s=None,
        utc="",
        number=1,
        software="",
    )


def shown(path):
    return photos.thumbnail(entered(path), path.parent)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_what_cameras_write_is_shown_under_any_name(tmp_path, kind):
    path = tmp_path / "eye.dat"
    Image.new("RGB", (900, 600), "navy").save(path, kind)
    made = shown(path)
    assert made.data.startswith("data:image/jpeg;base64,")
    assert "not" not in made.caption


@pytest.mark.parametrize("kind", ["GIF", "BMP", "TIFF", "PPM", "ICO", "TGA"])
def test_other_formats_are_not_opened(tmp_path, kind):
    path = tmp_path / "eye.jpg"
    Image.new("RGB", (64, 64), "navy").save(path, kind)
    assert shown(path).data == ""
    assert "not shown" in shown(path).caption


def test_a_photo_never_starts_another_program(tmp_path, monkeypatch):
    """An EPS named .jpg once reached the PostScript interpreter on the path."""
    called = tmp_path / "called"
    for name in ("gs", "gswin64c", "gswin32c"):
        program = tmp_path / name
        program.write_text(f"#!/bin/sh\ntouch {called}\n")
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
    path = tmp_path / "eye.jpg"
    path.write_bytes(
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n%%EndComments\nshowpage\n%%EOF\n"
    )
    assert shown(path).data == ""
    assert not called.exists()


@pytest.mark.wide
def test_a_picture_of_a_billion_pixels_is_not_unpacked(tmp_path):
    path = tmp_path / "wall.png"
    Image.new("1", (40_000, 30_000)).save(path)
    assert path.stat().st_size < 1_000_000
    assert shown(path).data == ""


def test_a_huge_file_is_hashed_and_not_read_as_a_photo(tmp_path, monkeypatch):
    monkeypatch.setattr(photos, "MOST_BYTES", 1000)
    path = tmp_path / "film.jpg"
    Image.effect_noise((200, 200), 80).save(path, "JPEG")
    assert path.stat().st_size > 1000
    assert "not shown" in shown(path).caption


def test_a_broken_photo_is_told(tmp_path):
    out = io.BytesIO()
    Image.new("RGB", (90, 60)).save(out, "PNG")
    for cut in (9, 30, 60):
        path = tmp_path / f"{cut}.png"
        path.write_bytes(out.getvalue()[:cut])
        assert shown(path).data == ""


def test_a_changed_photo_is_told_and_not_shown(tmp_path):
    path = tmp_path / "eye.jpg"
    Image.new("RGB", (90, 60)).save(path)
    photo = entered(path)
    Image.new("RGB", (90, 60), "red").save(path)
    made = photos.thumbnail(photo, tmp_path)
    assert (made.data, made.caption) == ("", "(changed since it was entered)")
    assert photo.sha256 != hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    path = tmp_path / "eye.jpg"
    os.mkfifo(path)
    with pytest.raises(RecordError, match="not an ordinary file"):
        photos.digest_of(path)
    photo = Photo(
        name=path.name,
        sha256="0" * 64,
        size=1,
        note="",
        offset_s=None,
        utc="",
        number=1,
        software="",
    )
    assert photos.thumbnail(photo, tmp_path).data == ""
