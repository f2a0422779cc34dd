"""A large archive: list, verify, re-mark, report.

python tests/benchmarks/archive.py [--records N] [--folder PLACE]
"""

import argparse
import functools
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

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


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=10_000)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    folder = given.folder or Path(tempfile.mkdtemp(prefix="tautlog-archive-"))
    folder.mkdir(exist_ok=True)
    # A campaign, so that there is a chain of as many links.
    (folder / "campaign.toml").touch()
    start = time.monotonic()
    make(folder, given.records)
    paths = sorted(folder.glob("*.h5"))
    size = sum(path.stat().st_size for path in paths)
    print(f"{len(paths)} records, {size / 1e6:.0f} MB, made in {time.monotonic() - start:.0f} s")
    print(f"verify, first time {command('verify', folder):.2f} s")
    listed = [command("list", folder, *kind) for kind in (["--json"], ["--csv"], [])]
    print("list: JSON {:.2f} s, CSV {:.2f} s, columns {:.2f} s".format(*listed))
    ratios = []
    for _ in range(3):  # by turns: these machines are noisy
        took = command("verify", folder)
        start = time.monotonic()
        subprocess.run(["sha256sum", *paths], check=True, stdout=subprocess.DEVNULL)
        plain = time.monotonic() - start
        ratios.append(took / plain)
        print(f"verify again {took:.2f} s, sha256sum of the same files {plain:.2f} s")
    print(f"verify over sha256sum: {sorted(ratios)[1]:.2f}")
    another = folder / "one_more.h5"
    start = time.monotonic()
    make_one(another)
    print(f"one more record beside them {time.monotonic() - start:.3f} s")
    another.unlink()
    some = paths[: min(400, len(paths))]
    walls = [command("remark", "--jobs", jobs, *some) for jobs in (1, 2)]
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
    page.unlink()
    paper = few / "report.pdf"
    paper.unlink(missing_ok=True)
    took = command("report", few, "--pdf", paper)
    print(f"with a PDF {took:.1f} s, {paper.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
