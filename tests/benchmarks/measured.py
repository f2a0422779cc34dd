"""What was measured, and the table of README that is made from it.

A figure stands beside a reference from the same run, for machines differ. `measured.json` keeps the
newest run of each benchmark; what is not run again stays, with its day and machine.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
KEPT = HERE / "measured.json"
README = HERE.parents[1] / "README.md"
BEGIN, END = "<!--made: tests/benchmarks/all.py-->", "<!--end-->"


@dataclass(frozen=True)
class Measured:
    """One figure.

    Attributes
    ----------
    what : str
        What was measured.
    found : str
        The figure with its unit.
    beside : str
        The reference of the same run, and how they compare; "" where the figure is a count.
    """

    what: str
    found: str
    beside: str = ""


@dataclass(frozen=True)
class Run:
    """One run of a benchmark.

    Attributes
    ----------
    day : str
        Day of the run, ISO 8601.
    on : str
        Interpreter, emulator and processors.
    how : str
        The command that does it again.
    figures : tuple of Measured
        What it found.
    """

    day: str
    on: str
    how: str
    figures: tuple[Measured, ...]


def show(figures: Iterable[Measured]) -> None:
    """Print figures as they come."""
    for one in figures:
        print(f"{one.what}: {one.found}" + (f"; {one.beside}" if one.beside else ""), flush=True)


def read_runs(path: Path = KEPT) -> dict[str, Run]:
    """Kept runs by the benchmark's name."""
    if not path.exists():
        return {}
    kept = json.loads(path.read_text(encoding="utf-8"))
    return {
        name: Run(**{**run, "figures": tuple(Measured(**one) for one in run["figures"])})
        for name, run in kept.items()
    }


def keep_runs(runs: dict[str, Run], path: Path = KEPT) -> None:
    """Write all runs."""
    text = json.dumps({name: asdict(run) for name, run in runs.items()}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")


def table(runs: dict[str, Run]) -> str:
    """The table of README, as Markdown."""
    head = "| measured | figure | beside it, in the same run | on, day |"
    rows = [head, "| - | - | - | - |"]
    for run in runs.values():
        for one in run.figures:
            cells = (one.what, one.found, one.beside or "-", f"{run.on}, {run.day}")
            rows.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
    return "\n".join(rows)


def with_table(text: str, runs: dict[str, Run]) -> str:
    """README with the table in its place.

    Raises
    ------
    ValueError
        If README has no place for it.
    """
    made, number = re.subn(
        f"{re.escape(BEGIN)}.*?{re.escape(END)}",
        lambda _: f"{BEGIN}\n{table(runs)}\n{END}",
        text,
        flags=re.DOTALL,
    )
    if number != 1:
        raise ValueError(f"README has {number} places for the table: expected {BEGIN} ... {END}")
    return made
