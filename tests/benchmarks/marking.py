"""Processor time and memory of marking: 1 s and 8 s at 500 kS/s, and the filter alone.

python tests/benchmarks/marking.py
"""

import json
import resource
import statistics
import subprocess
import sys
import time

import numpy as np
from measured import Measured, show
from scipy.signal import butter, sosfiltfilt

RATE_HZ = 500_000.0


def trace_of(seconds):
    """A drop that fills a record of that length, from the project's own mechanics."""
    from tautlog.mechanics.motion import fall
    from tautlog.mechanics.rig_model import RigModel
    from tautlog.model.trace import DropSetup, Trace

    model = RigModel(9.0, 0.3 if seconds < 2 else 1.2, 30e3, damping_ratio=0.1, friction_n=3.0)
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ - 0.2
    force = fall(model, duration_s=seconds).force_n(time_s)
    noisy = force + np.random.default_rng(1).normal(0.0, 1.0, force.size) + 40.0
    setup = DropSetup(mass_kg=model.mass_kg, height_m=model.height_m, target_n=1000.0)
    return Trace(noisy, RATE_HZ, release_time_s=0.2, quantum_n=0.3), setup


def best(function, times):
    """Median and least processor time."""
    took = []
    for _ in range(times):
        start = time.process_time()
        function()
        took.append(time.process_time() - start)
    return statistics.median(took), min(took)


def one(seconds):
    """Mark once in this process; peak memory over that of the trace."""
    from tautlog.analysis.judge import judge
    from tautlog.analysis.marking import mark

    trace, setup = trace_of(seconds)
    mark(*trace_of(0.3))  # what imports cost is not marking
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    judge(mark(trace, setup), setup)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    size = trace.force_n.nbytes / 1024
    median, least = best(lambda: judge(mark(trace, setup), setup), 7 if seconds < 2 else 3)
    print(json.dumps([(after - before) / size, median, least]))


def filter_ratio():
    """Time of our filter over scipy's on the same data, in turns."""
    from tautlog.analysis.filters import cfc_filter

    data = np.random.default_rng(1).normal(size=4_000_000)
    sections = butter(2, 2.0775 * 180, fs=RATE_HZ, output="sos")
    ratios = []
    for _ in range(5):
        ours = best(lambda: cfc_filter(data, RATE_HZ, 180), 1)[0]
        theirs = best(lambda: sosfiltfilt(sections, data), 1)[0]
        ratios.append(ours / theirs)
    return statistics.median(ratios)


def figures():
    """Processor time and memory, each length in a process of its own."""
    for seconds in ("1", "8"):
        told = subprocess.run(
            [sys.executable, __file__, seconds], check=True, capture_output=True, text=True
        )
        memory, median, least = json.loads(told.stdout)
        yield Measured(
            f"marking and judging of {seconds} s at 500 kS/s",
            f"{median:.2f} s of processor time",
            f"least {least:.2f} s; {memory:.1f} x the trace in memory on top of it",
        )
    yield Measured(
        "class filter over 8 s at 500 kS/s",
        f"{filter_ratio():.2f} x",
        "the time of scipy's sosfiltfilt on the same data",
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        one(float(sys.argv[1]))
    else:
        show(figures())
