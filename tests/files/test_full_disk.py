"""A disk that takes no more: one clear line, nothing half written, nothing lost.

A limit on the size of a file stands for the full disk: the kernel refuses the write in the
same way, with another errno (setrlimit(2), RLIMIT_FSIZE).
"""

import os
import subprocess
import sys

import pytest
from made_records import imported

from tautlog.display.quick_look import mark_new
from tautlog.record import open_record

resource = pytest.importorskip("resource")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("full")
    mark_new(imported(place, "one", 900.0), cfc=60)
    (place / "trace.csv").write_text("t,f\n" + "".join(f"{n / 1e3},{n}\n" for n in range(20_000)))
    return place


def limited(folder, room, *arguments):
    """A command that can make no file larger than `room` bytes."""

    def leave_little_room():
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    return subprocess.run(
        [sys.executable, "-m", "tautlog", *map(str, arguments)],
        preexec_fn=leave_little_room,
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        timeout=100,
    )


@pytest.mark.parametrize(
    ("room", "arguments"),
    [
        (4096, ("export", "one.h5", "--out", "x.csv")),
        (4096, ("export", "one.h5", "--to", "uff", "--out", "x.uff")),
        (4096, ("report", "one.h5", "--out", "x.html")),
        (4096, ("show", "one.h5", "--out", "x.png")),
        (4096, ("show", "one.h5", "--page", "spectrum", "--out", "x.pdf")),
        (20_000, ("import", "trace.csv", "--force-column", "f", "--time-column", "t")),
    ],
    ids=lambda one: one[0] if isinstance(one, tuple) else None,
)
@pytest.mark.rows(1)
def test_nothing_half_written_is_left(folder, room, arguments):
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    done = limited(folder, room, *arguments)
    assert done.returncode == 1, done.stdout + done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert "cannot be" in done.stderr
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before


@pytest.mark.parametrize("arguments", [("inspect", "--found", "intact", "--by", "A"), ("mark",)])
@pytest.mark.wide
def test_what_cannot_be_added_leaves_the_record_as_it_was(folder, arguments):
    """Marks that cannot be kept are told of; they are printed all the same."""
    path = folder / "one.h5"
    before = path.read_bytes()
    name, *given = arguments
    done = limited(folder, path.stat().st_size, name, "one.h5", *given)
    assert "cannot be written" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.returncode == (0 if name == "mark" else 1)
    assert path.read_bytes() == before
    assert open_record(path).verify_seal().state == "intact"


def test_a_calibration_that_does_not_fit_leaves_none(tmp_path):
    """Half a file forbade every drop until somebody corrected it."""
    rows = [f"{200 * n},{0.5 + 0.2 * n},{one}" for one in (1, 2, 3) for n in range(8)]
    (tmp_path / "points.csv").write_text("load_n,volt,run\n" + "\n".join(rows) + "\n")
    (tmp_path / "campaign.toml").touch()
    done = limited(tmp_path, 500, "calibrate", "--from-csv", "points.csv", "--accept", "A", "test")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "cannot be written" in done.stderr
    assert list((tmp_path / "calibrations").iterdir()) == []


def test_list_and_verify_need_no_room(folder):
    for command in ("list", "verify"):
        done = limited(folder, 0, command)
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
