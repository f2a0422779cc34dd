"""10 000 random drops, marked and judged: what was said over what is true.

python tests/benchmarks/drops.py [--drops N] [--first SEED]
"""

import argparse
import collections
import concurrent.futures
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from drops import KINDS, outcome, random_drop

SAYS = ("held", "let-go", "slipped", "unclear")
LOADS = ("no-load", "under", "unproven", "on-target", "possible-overload", "overload", "at-least")


def one(seed):
    """Kind, truth and what was said of one seed."""
    drop = random_drop(seed)
    try:
        marks, verdict, inside = outcome(drop)
    except Exception as problem:
        return drop.kind, drop.says, "CRASH", None, None, None, f"{drop}: {problem!r}", "crash"
    off = None
    if inside is not None:
        off = (marks.peak_force_n - drop.peak_n) / drop.peak_n
        off = f"{100 * off:+.2f} % of U {100 * marks.peak_force_expanded_u_n / drop.peak_n:.2f} %"
    line = f"{drop}; says {verdict.trace_says}, {verdict.record_verdict}; {off}"
    return (
        drop.kind,
        drop.says,
        verdict.trace_says,
        verdict.load_verdict,
        verdict.record_verdict,
        inside,
        line,
        left_out(drop, marks) if inside is None else "",
    )


def left_out(drop, marks):
    """Why a drop is not in the count of true peaks inside the stated interval."""
    if drop.peak_n is None:
        return "no pull, no true peak"
    if marks.peak_force_n is None:
        return "no contact found"
    if drop.flawed:
        return f"{drop.kind}: its peak is a lower bound"
    return f"{drop.kind}: the force is wrong by more than the calibration says"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drops", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    start = time.monotonic()
    says, loads, records = (collections.defaultdict(collections.Counter) for _ in range(3))
    inside, out = collections.Counter(), collections.Counter()
    by_kind = collections.defaultdict(collections.Counter)
    wrong, outside = [], []
    with concurrent.futures.ProcessPoolExecutor() as pool:
        seeds = range(given.first, given.first + given.drops)
        for kind, true, said, load, record, fits, line, why in pool.map(one, seeds, chunksize=20):
            says[kind][said] += 1
            loads[kind][load] += 1
            records[kind][record] += 1
            if said not in (*true, "unclear"):
                wrong.append(line)
            if fits is None:
                out[why] += 1
            else:
                inside[fits] += 1
                by_kind[kind][fits] += 1
                if not fits:
                    outside.append(line)
    print(f"{given.drops} drops in {time.monotonic() - start:.0f} s")
    print("\ntrace_says" + "".join(f"{name:>10}" for name in SAYS))
    for kind in KINDS:
        print(f"{kind:14}" + "".join(f"{says[kind][name]:10}" for name in SAYS))
    print("\nload_verdict  " + "".join(f"{name:>18}" for name in LOADS))
    for kind in KINDS:
        print(f"{kind:14}" + "".join(f"{loads[kind][name]:18}" for name in LOADS))
    print("\nrecord         valid   suspect   invalid")
    for kind in KINDS:
        print(
            f"{kind:14}"
            + "".join(f"{records[kind][name]:10}" for name in ("valid", "suspect", "invalid"))
        )
    flawed = sum(loads[kind]["on-target"] for kind in ("clip", "clip-unknown", "gap"))
    print(f"\nheld on let-go: {says['let-go']['held']}; on-target on clipped or gapped: {flawed}")
    total = sum(inside.values())
    print(
        f"true peak inside the interval of 95.45 %: {100 * inside[True] / max(total, 1):.2f} % of "
        f"{total}; left out {given.drops - total} of {given.drops}:"
    )
    for why, number in out.most_common():
        print(f"  {number:5}  {why}")
    for kind, counts in by_kind.items():
        number = sum(counts.values())
        print(f"  {kind:14} {100 * counts[True] / number:6.2f} % of {number}")
    print(f"\nwrong trace_says: {len(wrong)}")
    for line in wrong:
        print("  " + line)
    print(f"\nfirst of those outside ({len(outside)}):")
    for line in outside[:30]:
        print("  " + line)


if __name__ == "__main__":
    main()
