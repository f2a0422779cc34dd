"""Thousands of whole and cut tops, marked and judged: rate x noise x depth x kind.

python tests/benchmarks/clipping.py [--drops N] [--first SEED] [--jobs N]
"""

import argparse
import collections
import concurrent.futures
import sys
from pathlib import Path

import numpy as np
from measured import Measured

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from tops import drawn, recorded

KINDS = ("whole", "hard", "sinks", "rounded", "averaged")
NOISES = (0.0, 0.002, 0.005, 1.0)


def one(job):
    """Case of a kind and seed, and what is said of it."""
    from tautlog.analysis.judge import judge
    from tautlog.analysis.marking import mark

    kind, seed = job
    depth = float(np.random.default_rng([seed, 5]).choice([0.03, 0.05, 0.1, 0.3]))
    case = drawn(seed, **({} if kind == "whole" else {"kind": kind, "depth": depth}))
    trace, setup, _ = recorded(case)
    marks = mark(trace, setup, cfc=case.cfc)
    verdict = judge(marks, setup)
    codes = {reason.code for reason in verdict.reasons}
    said = "cut" if marks.clipped else "unclear" if "clip-not-excluded" in codes else "whole"
    trusted = verdict.record_verdict == "valid" and verdict.load_verdict == "on-target"
    return kind, seed, case, said, trusted


def figures(drops=200, first=500_000):
    """What was said of whole and of cut tops, in two figures."""
    table, _ = tally(drops, first, None)
    whole = table["whole", "all"]
    cut = sum((table[kind, "all"] for kind in KINDS[1:]), collections.Counter())
    yield Measured(
        "cut tops, 3 to 30 % deep, called valid and on target",
        f"{cut['trusted']} of {cut['cut'] + cut['unclear'] + cut['whole']}",
    )
    yield Measured(
        "whole tops called cut",
        f"{whole['cut']} of {drops}",
        f"{whole['unclear']} more suspect, because a cut could not be excluded",
    )


def tally(drops, first, processes):
    """Count what was said by kind, and the lines of what was wrong."""
    few = drops // 4
    jobs = [("whole", first + at) for at in range(drops)]
    jobs += [(kind, first + at) for kind in KINDS[1:] for at in range(few)]
    table = collections.defaultdict(collections.Counter)
    wrong = []
    with concurrent.futures.ProcessPoolExecutor(processes) as pool:
        for kind, seed, case, said, trusted in pool.map(one, jobs, chunksize=10):
            noise = next(f"<={100 * n:g}%" for n in NOISES if case.noise <= n)
            ring = "ring" if case.ring else "plain"
            for key in (
                (kind, "all"),
                (kind, ring),
                (kind, f"depth {case.depth:g}"),
                (kind, f"{case.rate_hz / 1000:g} kS/s, noise {noise}"),
            ):
                table[key][said] += 1
                table[key]["trusted"] += trusted
            if (kind == "whole" and said == "cut") or (kind != "whole" and trusted):
                wrong.append(f"{kind} {seed}: {said} {case}")
    return table, wrong


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drops", type=int, default=2000, help="whole ones, and as many cut")
    parser.add_argument("--first", type=int, default=500_000)
    parser.add_argument("--jobs", type=int, default=None)
    given = parser.parse_args()
    table, wrong = tally(given.drops, given.first, given.jobs)
    print(f"{'kind':10}{'of':34}{'number':>8}{'cut':>8}{'unclear':>8}{'whole':>8}{'trusted':>8}")
    for (kind, what), told in sorted(table.items()):
        number = told["cut"] + told["unclear"] + told["whole"]
        row = "".join(f"{told[key]:8}" for key in ("cut", "unclear", "whole", "trusted"))
        print(f"{kind:10}{what:34}{number:8}{row}")
    print(f"\nwrong ({len(wrong)}):", *wrong[:30], sep="\n  ")


if __name__ == "__main__":
    main()
