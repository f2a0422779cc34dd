"""Memory that a command takes, as the system counts it: its largest resident set."""

import json
import subprocess
import sys

_ASK = """
import json, resource, subprocess, sys
done = subprocess.run(sys.argv[1:], capture_output=True, text=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([done.returncode, done.stdout, done.stderr, used.ru_maxrss,
                  used.ru_utime + used.ru_stime]))
"""


def run_measured(*command, timeout_s=900):
    """Run `tautlog ...`; exit status, both outputs, MB and seconds of processor time.

    In a process in between, which starts nothing else: `RUSAGE_CHILDREN` keeps the largest of all.
    """
    told = subprocess.run(
        [sys.executable, "-c", _ASK, sys.executable, "-m", "tautlog", *map(str, command)],
        capture_output=True,
        text=True,
        check=True,
        timeout=timeout_s,
    )
    status, out, errors, kilobytes, processor_s = json.loads(told.stdout)
    return status, out, errors, kilobytes / 1024, processor_s


def many_rows(path, rows, rate_hz=50_000):
    """Write a CSV trace of so many rows with one pull in its middle."""
    import numpy as np

    rng = np.random.default_rng(1)
    with open(path, "w", encoding="ascii") as file:
        file.write("time_s,force_n\n")
        for start in range(0, rows, 100_000):
            index = np.arange(start, min(start + 100_000, rows))
            force = rng.normal(0, 1, index.size) + 2000 * np.exp(-(((index - rows / 2) / 800) ** 2))
            file.write(
                "".join(f"{i / rate_hz:.5f},{n:.4f}\n" for i, n in zip(index, force, strict=True))
            )
    return path
