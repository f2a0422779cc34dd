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
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from measured import Measured, show
from rehearsed import SPEED, drop, plan_for, until_held

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.errors import LinkError
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess, find_interpreter
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene


def cut_drop(seed: int, folder: Path) -> str:
    """One drop with its cable cut; "" when all came home, else what was wrong."""
    cut_s = random.Random(seed).uniform(0.0, 1.0)
    scene = default_scene()
    scene = replace(scene, behaviour=replace(scene.behaviour, cut_link_after_s=cut_s))
    rig = SimulatedRig(scene, seed=seed)
    plan = plan_for(rig, folder / f"{seed}.h5", countdown_s=0.0, record_s=1.5)
    with BoardProcess(rig, speed=SPEED) as board:
        try:
            drop(board, plan)
            return f"cut at {cut_s:.3f} s: the link was not cut"
        except LinkError:
            pass
        outcome = until_held(board, plan)
    marks = told_of(assess(open_record(plan.path), cfc=180))
    after_s = marks["samples"] / marks["sample_rate_hz"] - marks["release_time_s"]
    whole = (
        outcome.missing_blocks == 0
        and marks["missing_samples"] == 0
        and after_s >= 1.0
        and marks["release_time_s"] >= 0.05
        and abs(marks["peak_force_n"] / 1890.0 - 1) < 2e-3
    )
    return "" if whole else f"cut at {cut_s:.3f} s: {outcome}, {after_s:.3f} s after the release"


def figures(drops: int = 30) -> Iterator[Measured]:
    """How many events came home."""
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(drops):
            wrong = cut_drop(seed, Path(folder))
            if wrong:
                failed += 1
                print(f"seed {seed}: {wrong}", flush=True)
    yield Measured(
        "events fetched whole after the cable was cut at a random instant",
        f"{drops - failed} of {drops}",
        f"firmware under {find_interpreter().name}",
    )


if __name__ == "__main__":
    show(figures(*map(int, sys.argv[1:2])))
