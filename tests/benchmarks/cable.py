"""The cable dropped at a random instant, 100 times, and whether the whole event comes home.

    python tests/benchmarks/cable.py [DROPS]

The firmware runs in a process of its own under the interpreter named in the output,
wired to the simulated rig. The link is cut at a seeded random instant between the
release and the end of the guarded window, then plugged in again; `recover` must complete
the record, with no sample of the guarded window missing. Minutes long.
"""

import random
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from tautlog.drop import DropPlan, recover, run_drop
from tautlog.errors import LinkError, RefusedError
from tautlog.link import SerialLink
from tautlog.quicklook import mark_record
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess, find_interpreter
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene
from tautlog.session import Session

SPEED = 8.0
TRIES = 60


class Crew:
    """Agrees to everything and says nothing."""

    def agree(self, setup):
        return True

    def __getattr__(self, name):
        return lambda *_: None


def cut_drop(seed: int, folder: Path) -> str:
    """One drop with its cable cut; "" when all came home, else what was wrong."""
    cut_s = random.Random(seed).uniform(0.0, 1.0)
    scene = default_scene()
    scene = replace(scene, behaviour=replace(scene.behaviour, cut_link_after_s=cut_s))
    plan = DropPlan(
        path=folder / f"{seed}.h5",
        setup=scene.setup,
        calibration=scene.calibration,
        countdown_s=0.0,
        record_s=1.5,
        speed=SPEED,
    )
    with BoardProcess(SimulatedRig(scene, seed=seed), speed=SPEED) as board:
        try:
            with SerialLink(board.url) as link:
                run_drop(Session(link), plan, Crew())
            return f"cut at {cut_s:.3f} s: the link was not cut"
        except LinkError:
            pass
        outcome = recover_when_held(board.url, plan.path)
    marks = mark_record(open_record(plan.path), cfc=180)
    after_s = marks["samples"] / marks["sample_rate_hz"] - marks["release_time_s"]
    whole = (
        outcome.missing_blocks == 0
        and marks["missing_samples"] == 0
        and after_s >= 1.0
        and marks["release_time_s"] >= 0.05
        and abs(marks["peak_force_n"] / 1890.0 - 1) < 2e-3
    )
    return "" if whole else f"cut at {cut_s:.3f} s: {outcome}, {after_s:.3f} s after the release"


def recover_when_held(url: str, path: Path):
    """Plug in until the board has completed its window."""
    for _ in range(TRIES):
        time.sleep(0.4)
        try:
            with SerialLink(url) as link:
                return recover(Session(link), path)
        except RefusedError:
            continue
    raise SystemExit("the board never held the event")


def main() -> None:
    drops = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(drops):
            wrong = cut_drop(seed, Path(folder))
            if wrong:
                failed += 1
                print(f"seed {seed}: {wrong}", flush=True)
    print(f"{drops - failed} of {drops} events came home whole, under {find_interpreter()}")


if __name__ == "__main__":
    main()
