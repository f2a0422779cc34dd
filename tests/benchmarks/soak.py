"""Drops, recoveries, marks and lists one after another for an hour, in one process on one board.

    python tests/benchmarks/soak.py [SECONDS]

The commands run in this process, so that what leaks adds up: memory, file handles and threads are
read when the first folder of drops is done and at the end. One virtual board, with the real
firmware, is never started again: its clock of 2**30 us comes round many times. The sled is raised
again at the rehearsed rig's bench. In one drop of five the cable is pulled at a random instant, and
`recover` fetches the event.
"""

from __future__ import annotations

import contextlib
import gc
import io
import json
import os
import random
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MPLBACKEND", "agg")

from measured import Measured, show
from rehearsed import played

from tautlog.cli import run
from tautlog.errors import CampaignError
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess, find_interpreter
from tautlog.rehearsal.rig import SimulatedRig

SPEED = 8.0
A_FOLDER = 20  # drops in one folder, which is then verified and removed
CUT = 1 / 5  # of the drops
GIVEN = ("--mass", "9", "--height", "1.2", "--target", "1800", "--yes", "--countdown", "0")
LONGEST_S = 120.0


@dataclass(frozen=True)
class Held:
    """What this process holds: memory in MiB, open files, threads."""

    memory_mib: float
    files: int
    threads: int

    def __str__(self) -> str:
        return f"{self.memory_mib:.0f} MiB, {self.files} files, {self.threads} threads"


@dataclass
class Tally:
    """What was done.

    Attributes
    ----------
    drops, refused, cut, recovered, samples, missing : int
        Drops; those that were refused before anything fell, such as on a machine too busy for the
        stream; those whose cable was pulled, and events that came home then; samples received,
        and samples missing among them.
    wrong : list of str
        What must not be.
    commands : int
        Commands that ran.
    """

    drops: int = 0
    refused: int = 0
    cut: int = 0
    recovered: int = 0
    samples: int = 0
    missing: int = 0
    commands: int = 0
    wrong: list[str] = field(default_factory=list)


def held() -> Held:
    """What this process holds now."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    memory = pages * os.sysconf("SC_PAGE_SIZE") / (1 << 20)
    return Held(memory, len(os.listdir("/proc/self/fd")), threading.active_count())


class Soak:
    """One board, and a folder after the other.

    Parameters
    ----------
    rig : SimulatedRig
        The rig behind the board.
    url : str
        The board.
    """

    def __init__(self, rig: SimulatedRig, url: str) -> None:
        self._rig, self._url = rig, url
        self._chance = random.Random(1)
        self._over = threading.Event()
        self.tally = Tally()

    def fill(self, folder: Path, until_s: float) -> None:
        """Do the drops of one folder, or as many as time allows."""
        os.chdir(folder)
        for number in range(A_FOLDER):
            if time.monotonic() > until_s:
                break
            self._drop(Path(f"{number:03d}.h5"))
        self._run("list", "--rehearsed", "--json")
        self._run("verify")
        os.chdir("/")

    def _run(self, *words: object) -> tuple[int, str, str]:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run([str(word) for word in words])
        self.tally.commands += 1
        if status not in (0, 1) or "Traceback" in err.getvalue():
            self.tally.wrong.append(f"{words}: {status}, {err.getvalue()[-300:]}")
        return status, out.getvalue(), err.getvalue()

    def _drop(self, path: Path) -> None:
        self._raise_sled()
        board = ("--port", self._url, "--link-timeout", "4")
        knife = None
        if self._chance.random() < CUT:
            knife = threading.Thread(target=self._cut, args=(self._chance.uniform(0.0, 0.12),))
        more = ("--record", "2.5", "--out", path, "--json")
        self._over.clear()
        if knife is not None:
            knife.start()
        status, out, err = self._run("drop", *board, *GIVEN, *more)
        self._over.set()
        if knife is not None:
            knife.join()
        self.tally.drops += 1
        if status == 1 and self._rig.release_at is None and not path.exists():
            self.tally.refused += 1
            print(f"  refused: {err.strip().splitlines()[-1]}", flush=True)
            return
        if status == 1:
            self.tally.cut += knife is not None
            if knife is None:
                self.tally.wrong.append(f"{path}: {err.strip()[-200:]}")
            status, out = self._recover(board)
        if status != 0 or not path.exists():
            self.tally.wrong.append(f"{path} did not come home: {err.strip()[-200:]}")
            return
        self._judge(path, json.loads(out)["marks"])
        if self.tally.drops % 4 == 0:
            self._run("mark", path, "--cfc", "600")
            self._run("inspect", path, "--found", "intact", "--by", "A. Rigger")
            self._run("export", path, "--out", path.with_suffix(".csv"))

    def _raise_sled(self) -> None:
        """Raise it again, once it is at rest and the board disarmed."""
        until_s = time.monotonic() + LONGEST_S
        while True:
            try:
                self._rig.bench.do("lower")
                self._rig.bench.do("latch")
                break
            except CampaignError:
                if time.monotonic() > until_s:
                    raise
            time.sleep(0.05)
        while self._rig.release_at is not None:  # until the rig's next step
            time.sleep(0.005)

    def _cut(self, after_s: float) -> None:
        """Pull the cable so long after the release, on the wall's clock."""
        while self._rig.release_at is None:
            if self._over.is_set():
                return
            time.sleep(0.002)
        time.sleep(after_s)
        self._rig.bench.do("cut")

    def _recover(self, board: tuple[str, ...]) -> tuple[int, str]:
        until_s = time.monotonic() + LONGEST_S
        while True:
            status, out, err = self._run("recover", *board, "--json")
            if status == 0:
                self.tally.recovered += 1
                return status, out
            if time.monotonic() > until_s:
                self.tally.wrong.append(f"recover: {err.strip()[-200:]}")
                return status, out
            time.sleep(0.5)

    def _judge(self, path: Path, marks: dict[str, object]) -> None:
        record = open_record(path)
        self.tally.samples += len(record.counts())
        self.tally.missing += int(str(marks["missing_samples"]))
        truth = self._rig.truth(record.first_sample_index)["peak_force_n"]
        peak, u = marks["peak_force_n"], marks["peak_force_expanded_u_n"]
        if not isinstance(peak, float) or not isinstance(u, float) or not abs(peak - truth) <= u:
            self.tally.wrong.append(f"{path}: peak {peak} +- {u}, true {truth}")


def figures(seconds: float = 3600.0) -> Iterator[Measured]:
    """What was done, and what this process held at start and end."""
    rig = played(None, seed=1)
    first = now = None
    begun_s = time.monotonic()
    with BoardProcess(rig, speed=SPEED) as board:
        one = Soak(rig, board.url)
        while now is None or time.monotonic() < begun_s + seconds:
            with tempfile.TemporaryDirectory() as folder:
                one.fill(Path(folder), begun_s + seconds)
            now = held()
            first = first or now
            minutes = (time.monotonic() - begun_s) / 60.0
            print(f"{minutes:.1f} min, {one.tally.drops} drops: {now}", flush=True)
            for wrong in one.tally.wrong:
                print(f"  WRONG {wrong}", flush=True)
        printed = board.printed()
    minutes, tally, name = (time.monotonic() - begun_s) / 60.0, one.tally, find_interpreter().name
    yield Measured(
        f"soak of {minutes:.0f} min: drops, and commands beside them",
        f"{tally.drops} drops, {tally.commands} commands",
        f"one board, firmware under {name}; {tally.refused} refused, {len(tally.wrong)} wrong"
        + (f"; the board printed {printed[:80]}" if printed else ""),
    )
    yield Measured(
        "soak: samples received, and missing among them",
        f"{tally.samples}, {tally.missing} missing",
        f"cable pulled in {tally.cut} drops, {tally.recovered} events recovered",
    )
    yield Measured(
        "soak: this process after the first folder of drops, and at the end", f"{first}", f"{now}"
    )


if __name__ == "__main__":
    show(figures(*map(float, sys.argv[1:2])))
