"""Records: a drop by the other way in, a CSV file that `tautlog import` makes a record of.

What a CSV cannot say (release, count, calibration) is left out on both sides, so that both
ways must come to the same marks.
"""

from __future__ import annotations

import contextlib
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from independent.drops import Drop
from tautlog.cli import run
from tautlog.model.trace import Trace


def as_imported(drop: Drop) -> Drop:
    """The drop with nothing but what a CSV can say."""
    force = np.round(drop.trace.force_n, 6)
    setup = replace(drop.setup, fittings_kg=None)  # the command does not ask for it
    return replace(drop, trace=Trace(force, drop.trace.sample_rate_hz), setup=setup)


def imported(drop: Drop, folder: Path) -> dict[str, Any]:
    """Marks and verdicts of the drop, by file and command.

    Raises
    ------
    RuntimeError
        If a command ends otherwise than with 0.
    """
    name = f"{drop.truth.kind}-{drop.truth.seed}"
    table, record = folder / f"{name}.csv", folder / f"{name}.h5"
    with table.open("w") as out:
        out.write("force\n")
        np.savetxt(out, drop.trace.force_n, fmt="%.6f")
    said = ["--mass", drop.setup.mass_kg, "--target", drop.setup.target_n, "--article", "link"]
    if drop.setup.height_m is not None:
        said += ["--height", drop.setup.height_m]
    rate = ["--sample-rate", drop.trace.sample_rate_hz, "--force-column", "force"]
    _command("import", table, *rate, *said, "--out", record)
    answer: dict[str, Any] = json.loads(_command("mark", record, "--cfc", drop.cfc, "--json"))
    return answer


def _command(*arguments: object) -> str:
    told, wrong = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(wrong):
        status = run([str(one) for one in arguments])
    if status:
        raise RuntimeError(f"tautlog {arguments[0]} ended with {status}: {wrong.getvalue()}")
    return told.getvalue()
