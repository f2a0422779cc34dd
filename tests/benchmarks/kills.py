"""`tautlog drop` killed at random instants, then `tautlog recover`: what was lost, what was said.

    python tests/benchmarks/kills.py [KILLS [SEED]]

A real program in a process of its own drops on the virtual board and is ended by SIGKILL. Most
kills come between the arming and the end of the program, one in six before. A line that listens
(`overheard`) knows which blocks were acknowledged, and their samples. Checked at once, on a copy:
every acknowledged block is in the file, with those samples. Then `recover` runs, and the record is
judged against what the rig did. Minutes long.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

import numpy as np
from measured import Measured, show
from overheard import Overheard
from rehearsed import played

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json
from tautlog.errors import RecordError
from tautlog.record import Record, open_record
from tautlog.record.journal import journal_path
from tautlog.rehearsal.process import BoardProcess, find_interpreter
from tautlog.rehearsal.rig import SimulatedRig

SPEED = 8.0
GIVEN = ("--mass", "9", "--height", "1.2", "--target", "1800", "--yes", "--countdown", "0.5")
BEFORE_ARMING = 1 / 6  # of the kills
PROGRAM_S, ARMED_S = 2.5, 3.0  # how long it takes to arm, and from then to the end, about
LONGEST_S = 400.0  # on a machine that is busy with other things
NO_PULL = ("no-load", "at-least")  # the latter of no peak: nothing was seen, and not all is here


@dataclass(frozen=True)
class Killed:
    """What came of one kill.

    Attributes
    ----------
    stage : str
        Where the program was, by what it left behind.
    acknowledged, lost : int
        Samples that were acknowledged, and those of them that were not on disk.
    verdict : str
        Verdict on the record after recovery, or why there is none.
    wrong : str
        What must not be, or "".
    """

    stage: str
    acknowledged: int
    lost: int
    verdict: str
    wrong: str


def _program(*words: object) -> list[str]:
    return [sys.executable, "-m", "tautlog", *map(str, words)]


def _await(process: subprocess.Popen[bytes], until: float) -> bool:
    """Whether it still runs then."""
    try:
        process.wait(max(until - time.monotonic(), 0.0))
    except subprocess.TimeoutExpired:
        return True
    return False


def _kill(line: Overheard, folder: Path, chance: random.Random) -> bool:
    """Start a drop and kill it; False if it had ended before."""
    words = ("drop", "--port", line.url, "--link-timeout", "6", *GIVEN)
    began_s = time.monotonic()
    early = chance.random() < BEFORE_ARMING
    wait_s = chance.uniform(0.0, PROGRAM_S if early else ARMED_S)
    with (folder / "said").open("wb") as said:
        process = subprocess.Popen(
            _program(*words, "--record", "2", "--out", "drop.h5"),
            cwd=folder,
            stdout=said,
            stderr=subprocess.STDOUT,
        )
    try:
        if not early:
            while not line.armed and process.poll() is None:
                if time.monotonic() > began_s + LONGEST_S:
                    raise RuntimeError("it never armed")
                time.sleep(0.005)
        now_s = began_s if early else time.monotonic()
        return _await(process, now_s + wait_s)
    finally:
        process.kill()
        process.wait()


def _lost(line: Overheard, path: Path) -> tuple[int, int, str]:
    """Samples acknowledged, samples of them not in a copy of the file, and what is wrong."""
    first, stop = line.acknowledged()
    if first is None or stop is None or stop == first:
        return 0, 0, ""
    sent = line.blocks()
    copy = path.with_name("copy.h5")
    if path.exists():
        shutil.copyfile(path, copy)
        if journal_path(path).exists():
            shutil.copyfile(journal_path(path), journal_path(copy))
    acknowledged = sum(len(sent[number]) for number in range(first, stop))
    try:
        found = _samples(open_record(copy))
    except RecordError as problem:
        return acknowledged, acknowledged, f"unreadable after the kill: {problem}"
    finally:
        copy.unlink(missing_ok=True)
        journal_path(copy).unlink(missing_ok=True)
    lost = sum(
        len(sent[number])
        for number in range(first, stop)
        if not np.array_equal(found.get(number), sent[number])
    )
    return acknowledged, lost, "acknowledged samples were lost" if lost else ""


def _samples(record: Record) -> dict[int, np.ndarray]:
    """Samples of a record by block."""
    counts, table = record.counts(), record.block_table
    ends = [*table["row"][1:], len(counts)][: len(table)]
    rows = zip(table["block"], table["row"], ends, strict=True)
    return {int(number): counts[start:end] for number, start, end in rows}


def _recovered(line: Overheard, folder: Path) -> str:
    """Recover as a user would: from the board, else from the disk; "" or what went wrong."""
    until = time.monotonic() + LONGEST_S
    while True:
        done = subprocess.run(
            _program("recover", "--port", line.url, "--link-timeout", "6"),
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
        )
        if "Traceback" in done.stderr or done.returncode not in (0, 1):
            return f"recover ended with {done.returncode}: {done.stderr[-300:]}"
        # A laptop has gone: the board ends its recording, or goes safe, once it is sure of that.
        busy = "board is recording" in done.stderr or "board is armed" in done.stderr
        if not busy or time.monotonic() > until:
            break
        time.sleep(0.6)
    path = folder / "drop.h5"
    if done.returncode == 0 or not path.exists() or open_record(path).status != "recording":
        return "" if done.returncode == 0 or "holds no event" in done.stderr else done.stderr
    done = subprocess.run(
        _program("recover", "drop.h5"),
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
    )
    return "" if done.returncode == 0 else f"recover drop.h5: {done.stderr[-300:]}"


def _judged(folder: Path, rig: SimulatedRig) -> tuple[str, str]:
    """Verdict on the drop's record, and what of it is not true."""
    paths = sorted(folder.glob("*.h5"))
    if rig.release_at is not None and not paths:
        return "no record", "a sled fell, and there is no record"
    if not paths:
        return "no record", ""
    if len(paths) > 1:
        return "two records", f"two records of one drop: {[path.name for path in paths]}"
    record = open_record(paths[0])
    marks = as_json(assess(record, cfc=180))
    verdict = f"{record.status}, {marks['record_verdict']}, {marks['load_verdict']}"
    return verdict, _untrue(record, marks, rig)


def _untrue(record: Record, marks: dict[str, object], rig: SimulatedRig) -> str:
    """What the record says that is not so, or ""."""
    if record.verify_seal().state != "intact":
        return "its seal is not intact"
    if rig.release_at is None:
        pulled = marks["peak_force_n"] is not None or marks["load_verdict"] not in NO_PULL
        valid = marks["record_verdict"] == "valid"
        return "nothing fell, and it says that something did" if pulled or valid else ""
    truth = rig.truth(record.first_sample_index)
    peak, u = marks["peak_force_n"], marks["peak_force_expanded_u_n"]
    if marks["record_verdict"] == "valid":
        near = peak is not None and abs(peak - truth["peak_force_n"]) <= u
        whole = marks["missing_samples"] == 0 and record.status in ("complete", "recovered")
        return "" if near and whole else f"valid, but its peak is {peak} and {record.status}"
    codes = {one["code"] for one in marks["reasons"]}
    if marks["load_verdict"] == "no-load":
        return "it fell on the line, and the record says that nothing pulled"
    return "" if codes else "neither valid nor with a reason"


def killed_drop(number: int, seed: int, folder: Path) -> Killed | None:
    """One drop killed; None if the program had ended before the kill."""
    chance = random.Random(f"{seed}-{number}")
    rig = played(None, seed=chance.randrange(1 << 20))
    with BoardProcess(rig, speed=SPEED) as board, Overheard(board.url) as line:
        if not _kill(line, folder, chance):
            return None
        path = folder / "drop.h5"
        stage = _stage(path, rig)
        acknowledged, lost, wrong = _lost(line, path)
        wrong = wrong or _recovered(line, folder)
    verdict, untrue = _judged(folder, rig)
    return Killed(stage, acknowledged, lost, verdict, wrong or untrue)


def _stage(path: Path, rig: SimulatedRig) -> str:
    if not path.exists():
        return "before the record"
    if path.with_suffix(".png").exists():
        return "after the picture"
    whole = b"complete" in path.read_bytes()
    if whole and not journal_path(path).exists():
        return "after the record was sealed"
    return "while it recorded" if rig.release_at is not None else "while it was armed"


def figures(kills: int = 200, seed: int = 1) -> Iterator[Measured]:
    """What was lost."""
    done: list[Killed] = []
    number = 0
    while len(done) < kills:
        number += 1
        with tempfile.TemporaryDirectory() as folder:
            one = killed_drop(number, seed, Path(folder))
        if one is None:
            continue
        done.append(one)
        told = f"{len(done)} ({seed}-{number}) {one.stage}: {one.acknowledged} acknowledged"
        print(f"{told}, {one.lost} lost; {one.verdict} {one.wrong}".rstrip(), flush=True)
    acknowledged = sum(one.acknowledged for one in done)
    on = f"firmware under {find_interpreter().name}"
    stages = Counter(one.stage for one in done)
    yield Measured(
        f"acknowledged samples lost by {len(done)} SIGKILLs of `tautlog drop` at random instants",
        f"{sum(one.lost for one in done)} of {acknowledged}",
        f"{on}; {', '.join(f'{count} {stage}' for stage, count in stages.most_common())}",
    )
    verdicts = Counter(one.verdict for one in done)
    yield Measured(
        "records after those kills and `tautlog recover` whose verdict was true",
        f"{sum(not one.wrong for one in done)} of {len(done)}",
        "; ".join(f"{count} {verdict}" for verdict, count in verdicts.most_common()),
    )


if __name__ == "__main__":
    show(figures(*map(int, sys.argv[1:3])))
