"""A large archive: list, verify, re-mark, report.

python tests/benchmarks/archive.py [--records N] [--folder PLACE]
"""

import argparse
import hashlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tautlog.batch import remark
from tautlog.calibration import Calibration
from tautlog.mechanics import RigModel, fall
from tautlog.quicklook import mark_new
from tautlog.record import write_values
from tautlog.trace import DropSetup

RATE_HZ = 5000.0


def make(folder, count):
    """Small records of one simulated drop with different noise, the first 200 marked."""
    model = RigModel(9.0, 1.2, 21e3, damping_ratio=0.12, friction_n=3.5)
    time_s = np.arange(int(3.0 * RATE_HZ)) / RATE_HZ - 0.3
    force = fall(model, duration_s=2.7).force_n(time_s)
    rng = np.random.default_rng(1)
    for number in range(count):
        path = folder / f"drop_{number:05d}.h5"
        write_values(
            path,
            force + rng.normal(0.0, 1.0, force.size),
            unit="N",
            newton_per_unit=1.0,
            polarity=1,
            sample_rate_hz=RATE_HZ,
            first_time_s=0.0,
            source={"file": "simulated"},
            setup=DropSetup(mass_kg=9.0, height_m=1.2, target_n=1700.0, article=f"a{number % 9}"),
            calibration=Calibration(),
            utc=f"2026-03-{1 + number % 28:02d}T10:00:{number % 60:02d}Z",
        )
        if number < 200:
            mark_new(path, cfc=180)


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


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=10_000)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    folder = given.folder or Path(tempfile.mkdtemp(prefix="tautlog-archive-"))
    folder.mkdir(exist_ok=True)
    start = time.monotonic()
    make(folder, given.records)
    paths = sorted(folder.glob("*.h5"))
    size = sum(path.stat().st_size for path in paths)
    print(f"{len(paths)} records, {size / 1e6:.0f} MB, made in {time.monotonic() - start:.0f} s")
    print(f"list, first time {command('list', folder, '--json'):.2f} s")
    print(f"list again       {command('list', folder, '--json'):.2f} s")
    took = command("verify", folder)
    start = time.monotonic()
    for path in paths:
        hashlib.sha256(path.read_bytes()).hexdigest()
    plain = time.monotonic() - start
    print(f"verify {took:.2f} s, SHA-256 of the same files in one process {plain:.2f} s")
    some = paths[: min(400, len(paths))]
    walls = []
    for jobs in (1, 2):
        start = time.monotonic()
        done = list(remark(some, jobs=jobs))
        walls.append(time.monotonic() - start)
        assert not any(one.problem for one in done)
    print(
        f"re-mark {len(some)}: one core {walls[0]:.1f} s, two {walls[1]:.1f} s, "
        f"{walls[0] / walls[1]:.2f} x"
    )
    few = folder / "few"
    few.mkdir(exist_ok=True)
    for path in paths[:30]:
        (few / path.name).write_bytes(path.read_bytes())
    page = few / "report.html"
    page.unlink(missing_ok=True)
    took = command("report", few)
    print(f"report of 30 drops {took:.1f} s, {page.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
