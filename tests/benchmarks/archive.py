"""A large archive: list, verify, re-mark, report.

python tests/benchmarks/archive.py [--records N] [--folder PLACE]
"""

import argparse
import functools
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from measured import Measured, show

from tautlog.display.quick_look import mark_new
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup
from tautlog.record import ImportedValues, write_values

RATE_HZ = 5000.0


def make(folder, count):
    """Small records of one simulated drop with different noise, the first 200 marked."""
    for number in range(count):
        path = folder / f"drop_{number:05d}.h5"
        make_one(path, number)
        if number < 200:
            mark_new(path, cfc=180)


def make_one(path, number=0):
    """One of them."""
    force = simulated_force()
    write_values(
        path,
        ImportedValues(
            force + np.random.default_rng(number).normal(0.0, 1.0, force.size),
            unit="N",
            newton_per_unit=1.0,
            polarity=1,
            sample_rate_hz=RATE_HZ,
            first_time_s=0.0,
            source={"file": "simulated"},
        ),
        setup=DropSetup(mass_kg=9.0, height_m=1.2, target_n=1700.0, article=f"a{number % 9}"),
        calibration=Calibration(),
        utc=f"2026-03-{1 + number % 28:02d}T10:00:{number % 60:02d}Z",
    )


@functools.cache
def simulated_force():
    """Force of the drop that all of them are of."""
    model = RigModel(9.0, 1.2, 21e3, damping_ratio=0.12, friction_n=3.5)
    time_s = np.arange(int(3.0 * RATE_HZ)) / RATE_HZ - 0.3
    return fall(model, duration_s=2.7).force_n(time_s)


def command(*arguments, cwd=None):
    """Wall time of one command."""
    start = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "tautlog", *map(str, arguments)],
        check=True,
        cwd=cwd,
        stdout=subprocess.DEVNULL,
    )
    return time.monotonic() - start


def figures(records=1000, place=None):
    """Times of commands, beside the plain library or tool that reads the same bytes."""
    folder = Path(tempfile.mkdtemp(prefix="tautlog-archive-", dir=place))
    try:
        yield from _measured(folder, records)
    finally:
        shutil.rmtree(folder)


def _measured(folder, records):
    # A campaign, so that there is a chain of as many links.
    (folder / "campaign.toml").touch()
    make(folder, records)
    paths = sorted(folder.glob("*.h5"))
    size = f"{len(paths)} records, {sum(path.stat().st_size for path in paths) / 1e6:.0f} MB"
    yield _verified("first", folder, paths)
    listed = command("list", folder, "--json")
    yield Measured(f"list as JSON, {size}", f"{listed:.2f} s")
    yield min((_verified("second", folder, paths) for _ in range(3)), key=lambda one: one.found)
    start = time.monotonic()
    make_one(folder / "one_more.h5")
    yield Measured(f"one more record beside {size}", f"{time.monotonic() - start:.3f} s")
    some = paths[: min(400, len(paths))]
    one_s, two_s = (command("remark", "--jobs", jobs, *some) for jobs in (1, 2))
    yield Measured(
        f"{len(some)} records marked again by two processes",
        f"{two_s:.1f} s",
        f"by one {one_s:.1f} s: {one_s / two_s:.2f} x",
    )
    yield _reported(folder, paths)


def _verified(time_of, folder, paths):
    """By turns with a plain tool: these machines are noisy."""
    took = command("verify", folder)
    start = time.monotonic()
    subprocess.run(["sha256sum", *paths], check=True, stdout=subprocess.DEVNULL)
    plain = time.monotonic() - start
    return Measured(
        f"verify for the {time_of} time, {len(paths)} records",
        f"{took:.2f} s",
        f"sha256sum of the same files {plain:.2f} s: {took / plain:.2f} x",
    )


def _reported(folder, paths):
    few = folder / "few"
    few.mkdir()
    for path in paths[:30]:
        (few / path.name).write_bytes(path.read_bytes())
    page_s = command("report", few)
    page = few / "report.html"
    size = page.stat().st_size / 1e6
    page.unlink()
    paper_s = command("report", few, "--pdf", few / "report.pdf")
    return Measured(
        "report of 30 drops",
        f"{page_s:.1f} s, {size:.2f} MB",
        f"with a PDF {paper_s:.1f} s, {(few / 'report.pdf').stat().st_size / 1e6:.2f} MB",
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=1000)
    parser.add_argument("--folder", type=Path, help="where the records are made, and removed")
    given = parser.parse_args()
    show(figures(given.records, given.folder))
