"""Memory of commands on what is long: records of five minutes, an import of five million rows.

python tests/benchmarks/memory.py
"""

import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from measured import Measured, show

SECONDS, AT_S, ROWS = 300.0, 200.0, 5_000_000


def _used(*command):
    """MB and processor time of a command that must succeed."""
    from resident import run_measured

    status, _, errors, megabytes, processor_s = run_measured(*command)
    assert status == 0, errors
    return megabytes, processor_s


def _commands(folder):
    one, other = folder / "one.h5", folder / "other.h5"
    return {
        "mark": ("mark", one),
        "picture": ("show", one, "--out", folder / "a.png"),
        "overlay of two": ("show", one, other, "--out", folder / "b.png"),
        "report of two": ("report", folder, "--out", folder / "report"),
        "list": ("list", folder),
        "verify": ("verify", folder),
        "universal file": ("export", one, "--to", "uff", "--out", folder / "a.uff"),
    }


def _import(folder, rows):
    """Make a table of so many rows and import it; MB, processor time and MB of the table."""
    from resident import many_rows

    table = many_rows(folder / "rows.csv", rows)
    used = _used(
        *("import", table, "--force-column", "force_n", "--time-column", "time_s"),
        *("--mass", "9", "--height", "1.2", "--out", folder / "imported.h5"),
    )
    return *used, table.stat().st_size / 1e6


def figures(seconds=SECONDS, rows=ROWS):
    """Largest resident set of each command, in a process of its own.

    Side by side: neither memory nor processor time depends on what else runs.
    """
    from long_records import long_record

    with (
        tempfile.TemporaryDirectory() as name,
        tempfile.TemporaryDirectory() as apart,
        ThreadPoolExecutor(8) as pool,
    ):
        folder = Path(name)
        imported = pool.submit(_import, Path(apart), rows)
        for number, record in enumerate(("one", "other")):
            at_s = min(AT_S, 0.6 * seconds)
            long_record(folder / f"{record}.h5", seconds=seconds, at_s=at_s, seed=number)
        jobs = {what: pool.submit(_used, *given) for what, given in _commands(folder).items()}
        nothing_mb, _ = _used("--version")
        found = {what: job.result() for what, job in jobs.items()}
        yield Measured(
            f"mark a record of {seconds:g} s, 62 500 samples a second",
            f"{found['mark'][0]:.0f} MB",
            "; ".join(f"{what} {mb:.0f} MB, {took_s:.0f} s" for what, (mb, took_s) in found.items())
            + f" of processor time; a command that does nothing {nothing_mb:.0f} MB",
        )
        megabytes, took_s, size = imported.result()
        yield Measured(
            f"import of {rows} rows",
            f"{megabytes:.0f} MB",
            f"{took_s:.1f} s of processor time; the file has {size:.0f} MB",
        )
        yield _keys(folder)


def _keys(folder):
    """Time until a campaign.toml of a hundred thousand keys is refused."""
    from tautlog.campaign.campaign import read_campaign
    from tautlog.errors import CampaignError

    path = folder / "campaign.toml"
    path.write_text("".join(f"k{number:x}=1\n" for number in range(100_000)), encoding="utf-8")
    begin = time.process_time()
    try:
        read_campaign(path)
    except CampaignError as problem:
        took_s, said = time.process_time() - begin, str(problem)
    assert "100001 lines" in said
    size = path.stat().st_size / 1e6
    return Measured(
        "campaign.toml of a hundred thousand keys refused", f"{took_s:.3f} s", f"{size:.2f} MB"
    )


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
    show(figures())
