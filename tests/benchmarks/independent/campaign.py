"""Many drops of each kind, marked and judged, and what came of them.

    python tests/benchmarks/independent/campaign.py --drops 600 --seed 1 --jobs 2
    python tests/benchmarks/independent/campaign.py --only any+clip-hard --drops 200
    python tests/benchmarks/independent/campaign.py --only regrip --one 17 --show

`--imports` lets each drop go through a CSV file, `tautlog import` and `tautlog mark` as well.
`--drops` is the number of drops of each group in `tally.GROUPS`, or of the one kind. A failure
is printed with its kind and seed; `--one SEED` makes that drop again and prints its marks.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from measured import Measured

from independent import tally
from independent.drops import Drop, make

# Goals that README tells, by the words it uses for them.
TOLD = {
    "a clip >= 3 %: valid, on target": "cut tops called valid and on target",
    "a clip doubted on unclipped": "whole tops doubted",
    "b let-go of held": "lines that held called let-go",
    "b slipped of held": "lines that held called slipped",
    "b held of slips >= 10 %": "slips of a tenth of the stretch or more called held",
    "d held of parted": "parted lines called held",
}


def marked(drop: Drop):
    """Marks and verdict by the public path in."""
    from tautlog.analysis.judge import judge
    from tautlog.analysis.marking import mark

    marks = mark(drop.trace, drop.setup, cfc=drop.cfc)
    return marks, judge(marks, drop.setup)


def outcome_of(job: tuple[str, int]) -> tally.Outcome:
    """Make, mark and judge one drop; a traceback is an outcome too."""
    kind, seed = job
    drop = make(kind, seed)
    try:
        marks, verdict = marked(drop)
    except Exception:  # whatever it is, it is counted and shown
        return tally.crashed(drop, traceback.format_exc(limit=-2))
    return tally.outcome(drop, marks, verdict)


def run(kinds: dict[str, int], seed: int, jobs: int) -> list[tally.Outcome]:
    """All drops of a campaign, in order."""
    work = [(kind, seed + turn) for kind, count in kinds.items() for turn in range(count)]
    if jobs == 1:
        return [outcome_of(one) for one in work]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(outcome_of, work, chunksize=8))


def compare_imports(kinds: dict[str, int], seed: int) -> None:
    """Let drops also go through CSV, record and command, and compare verdicts and peak."""
    from independent.records import as_imported, imported

    with tempfile.TemporaryDirectory() as folder:
        for kind, count in kinds.items():
            for turn in range(seed, seed + count):
                drop = as_imported(make(kind, turn))
                marks, verdict = marked(drop)
                try:
                    told = imported(drop, Path(folder))
                except RuntimeError as refused:
                    print(f"{kind} {turn}: {refused}".rstrip())
                    continue
                direct = (verdict.record_verdict, verdict.load_verdict, verdict.trace_says)
                filed = tuple(told[k] for k in ("record_verdict", "load_verdict", "trace_says"))
                peaks = marks.peak_force_n, told["peak_force_n"]
                same = direct == filed and (
                    peaks[0] == peaks[1] or abs(peaks[0] / peaks[1] - 1.0) < 1e-6
                )
                print(f"{kind} {turn}: {'same' if same else 'DIFFERS'} {direct} {filed} {peaks}")


def figures(drops: int = 2, seed: int = 900_000) -> Iterator[Measured]:
    """What was said against what was true, over all kinds."""
    outcomes = run(tally.shares(None, drops), seed, os.cpu_count() or 1)
    yield Measured(
        "drops of an independent simulator, kinds of line and fault",
        f"{len(outcomes)}, of {len(tally.GROUPS)} kinds",
        f"{sum(one.record == 'crash' for one in outcomes)} fell over",
    )
    counted = [one for one in outcomes if one.good and one.path == "held" and not one.left_out]
    inside = sum(abs(one.off_u or 0.0) <= 1.0 for one in counted)
    yield Measured("true peaks of whole lines that held, inside U", f"{inside} of {len(counted)}")
    for name in TOLD:
        goal = next(one for one in tally.GOALS if one.name == name)
        about = [one for one in outcomes if goal.about(one)]
        yield Measured(TOLD[name], f"{sum(map(goal.fails, about))} of {len(about)}")


def show(kind: str, seed: int, picture: str | None) -> None:
    """Print one drop's truth, marks and verdict; draw it where asked."""
    drop = make(kind, seed)
    marks, verdict = marked(drop)
    for name, value in asdict(drop.truth).items():
        if name not in ("cell_n", "line_n"):
            print(f"truth   {name:28} {value}")
    print(f"truth   peak_n({drop.cfc}) {drop.truth.peak_n(marks.cfc)}")
    print(f"truth   line peak_n({drop.cfc}) {drop.truth.peak_n(marks.cfc, line=True)}")
    print(f"rig     {drop.situation.rig}")
    print(f"chain   {drop.situation.instrument}")
    print(f"setup   {drop.setup}")
    for name, value in vars(marks).items():
        if name not in ("budgets", "findings"):
            print(f"mark    {name:28} {value}")
    for finding in marks.findings:
        print(f"finding {finding.code}: {finding.text}")
    for reason in verdict.reasons:
        print(f"reason  {reason.code}: {reason.text}")
    print(f"verdict {verdict.record_verdict}, {verdict.load_verdict}, {verdict.trace_says}")
    if picture:
        draw(drop, marks, picture)


def draw(drop: Drop, marks, path: str) -> None:
    """Record and truth, the whole and the first pull."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    truth, figure = drop.truth, Figure(figsize=(11, 8))
    axes = figure.subplots(2, 1)
    zero = drop.situation.instrument.zero_n / drop.situation.unit
    import numpy as np

    t = np.arange(truth.cell_n.size) / truth.grid_hz
    for axis in axes:
        axis.plot(drop.trace.time_s, drop.trace.force_n - zero, lw=0.6, label="record - zero")
        axis.plot(t, truth.cell_n, lw=0.8, label="cell, true")
        axis.plot(t, truth.line_n, lw=0.8, label="line, true")
        axis.set_xlabel("s")
        axis.set_ylabel("N")
    if marks.peak_time_s is not None:
        axes[1].plot([marks.peak_time_s], [marks.peak_force_n], "k+", ms=14, label="mark")
    if truth.onset_s is not None:
        end = truth.slack_s if truth.slack_s is not None else truth.onset_s + 0.1
        axes[1].set_xlim(truth.onset_s - 0.01, end + 0.03)
    axes[1].legend()
    axes[0].set_title(f"{truth.kind} seed {truth.seed}: {truth.path} {truth.slip_share:.2f}")
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    print(f"drawn   {path}")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--drops", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one kind, or several with commas between")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--one", type=int, metavar="SEED")
    parser.add_argument("--show", nargs="?", const="/tmp/drop.png", metavar="PNG")
    parser.add_argument("--imports", action="store_true", help="compare with tautlog import")
    said = parser.parse_args()
    if said.one is not None:
        show(said.only, said.one, said.show)
        return
    kinds = tally.shares(said.only, said.drops)
    if said.imports:
        compare_imports(kinds, said.seed)
        return
    begin = time.perf_counter()
    outcomes = run(kinds, said.seed, said.jobs)
    took = time.perf_counter() - begin
    tally.report(outcomes)
    print(f"\n{len(outcomes)} drops in {took:.0f} s, seeds from {said.seed}")


if __name__ == "__main__":
    main()
