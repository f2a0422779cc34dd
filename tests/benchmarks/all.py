"""Every figure that README states, measured, and README's table made from what was found.

    python tests/benchmarks/all.py                 # all that this machine can run
    python tests/benchmarks/all.py marking archive # these alone; the others stay as they are
    python tests/benchmarks/all.py --table         # nothing is run: only the table is made again

Two hours long, one of them the soak, on a machine that does nothing else. What it cannot run (no
image of a board) is said and stays as it was.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import os
import platform
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from measured import README, Run, keep_runs, read_runs, with_table

# Name of the module, whose `figures()` yields what it measures.
BENCHMARKS = (
    "receiver",
    "desk",
    "marking",
    "archive",
    "memory",
    "clipping",
    "independent",
    "bands",
    "cable",
    "kills",
    "soak",
    "board",
)


def measure(name: str) -> Run:
    """Run one benchmark, in this process."""
    module = importlib.import_module(name if name != "independent" else "independent.campaign")
    figures = []
    for one in module.figures():
        print(f"  {one.what}: {one.found}" + (f"; {one.beside}" if one.beside else ""), flush=True)
        figures.append(one)
    return Run(
        datetime.datetime.now(datetime.UTC).date().isoformat(),
        getattr(module, "ON", None) or here(),
        f"python tests/benchmarks/all.py {name}",
        tuple(figures),
    )


def here() -> str:
    """Interpreter and machine, in few words."""
    return f"Python {platform.python_version()}, {platform.system()}, {os.cpu_count()} processors"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BENCHMARKS))
    parser.add_argument("--table", action="store_true", help="only make README's table again")
    given = parser.parse_args()
    unknown = sorted(set(given.names) - set(BENCHMARKS))
    if unknown:
        parser.error(f"no benchmark is called {unknown[0]}: there are {', '.join(BENCHMARKS)}")
    runs = read_runs()
    for name in () if given.table else given.names or BENCHMARKS:
        print(f"{name}:", flush=True)
        try:
            runs[name] = measure(name)
        except SystemExit as why_not:
            print(f"  not run: {why_not}", flush=True)
            continue
        keep_runs({one: runs[one] for one in BENCHMARKS if one in runs})
    README.write_text(with_table(README.read_text(encoding="utf-8"), runs), encoding="utf-8")


if __name__ == "__main__":
    main()
