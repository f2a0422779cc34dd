"""Mutated files of a campaign under ten commands: no traceback, no hang, no other exit status.

Usage: python tests/benchmarks/mutations.py --files 10000 --seed 1 [--seconds 600]

Each turn copies a small campaign, mutates one of its files (bits, bytes, cuts, zeros, doubled
pieces, words and numbers of its text, HDF5 attributes and data sets by name) and runs list, verify,
ledger, report, mark, show, export, recover, deviation and procedure in this process. A command that
takes 60 s of the processor, or ten minutes, is a hang. `--drawn-every 8` leaves the four that take
most of the time (report, show, export, procedure) to every eighth file.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MPLBACKEND", "agg")

import h5py
import numpy as np
from brought_up import step_done
from made_records import imported, made

from tautlog.campaign.bring_ups import add_step
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.deviations import Deviation, enter_deviation
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.campaign.proofs import Proof, add_proof
from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.record import add_decision, add_inspection

HANG_S = 60
UTC = "2026-03-01T10:00:00Z"
RECORD = "drop.h5"
KEPT = ("chain.jsonl", "ledger.jsonl", "proofs.jsonl", "deviations.jsonl", "campaign.toml")
COMMANDS = (
    ("list",),
    ("verify",),
    ("ledger",),
    ("report", "--out", "r.html"),
    ("mark", RECORD),
    ("show", RECORD, "--out", "p.png"),
    ("export", RECORD, "--out", "e.csv"),
    ("recover", RECORD),
    ("deviation",),
    ("procedure", "--pdf", "p.pdf"),
)
DRAWS = ("report", "show", "export", "procedure")
TEXTS = (
    *(b"NaN", b"Infinity", b"-1", b"1e400", b"9" * 400, b"null", b"true", b"[]", b"{}", b'""'),
    *(b"\\u0000", b"\xff\xfe", b"[" * 5000, b'"' + b"x" * 100_000 + b'"', b"17179869184"),
)
VALUES = (
    *(float("nan"), float("inf"), -1.0, 0.0, 1e308, 5e-324, -(2**63), 2**63 - 1, 0, 1, 65535),
    *("", "x", "NaN", "\u2028", "x" * 100_000, "9" * 400, "[" * 5000, '{"a": NaN}', "{}", "null"),
    *(np.zeros(0), np.zeros(2000), np.array(["a", "b"], "S1"), np.bool_(True), np.complex128(1j)),
)


class HangError(BaseException):
    """A command took longer than `HANG_S`."""


def campaign(folder: Path) -> None:
    """A campaign with two records and a line of everything."""
    assert run(["init", str(folder)]) == 0
    add_proof(folder, Proof(UTC, "A", "beam-1", 3000.0, 70.0))
    add_step(folder, step_done("rest"))
    add_entry(folder, LedgerEntry(UTC, "A", article="a", peak_at_most_n=900.0))
    wet = Deviation(UTC, "A", "the line was wet")
    for one in (wet, replace(wet, text="dried for a day", answers=1)):
        enter_deviation(read_campaign(folder), one, [])
    mark_new(imported(folder, "other", 900.0))
    mark_new(made(folder / RECORD))
    add_inspection(folder / RECORD, by="A", finding="intact")
    add_decision(folder / RECORD, by="A", verdict="pass", proposed="pass", reason="seen")


def mutate(folder: Path, chance: random.Random) -> str:
    """Change one file; what was done, in words."""
    names = [RECORD] * 6 + list(KEPT)
    path = folder / chance.choice(names)
    if path.name == RECORD and chance.random() < 0.6:
        return f"{path.name}: {mutate_h5(path, chance)}"
    content = bytearray(path.read_bytes())
    kind = chance.choice(("bits", "bytes", "cut", "zeros", "doubled", "text", "empty"))
    at = chance.randrange(len(content))
    if path.name == RECORD and chance.random() < 0.7:
        at = chance.randrange(min(len(content), 20_000))  # where the headers lie
    if kind == "bits":
        for _ in range(chance.choice((1, 1, 8))):
            content[chance.randrange(len(content)) if _ else at] ^= 1 << chance.randrange(8)
    elif kind == "bytes":
        content[at : at + 8] = chance.randbytes(8)
    elif kind == "cut":
        del content[at:]
    elif kind == "zeros":
        size = chance.choice((16, 512, 4096))
        content[at : at + size] = bytes(len(content[at : at + size]))
    elif kind == "doubled":
        content[at:at] = content[at : at + chance.choice((16, 512))]
    elif kind == "text":
        content[at : at + chance.choice((0, 1, 4))] = chance.choice(TEXTS)
    else:
        content.clear()
    path.write_bytes(content)
    return f"{path.name}: {kind} at {at}"


def mutate_h5(path: Path, chance: random.Random) -> str:
    """Change an attribute or an object by its name, as a program with an HDF5 library would."""
    with h5py.File(path, "r+") as file:
        places = ["/"]
        file.visit(places.append)
        place = file[chance.choice(places)]
        kind = chance.choice(("attribute", "attribute", "attribute", "json", "object", "data"))
        if kind == "json":
            place = file["marks/1"]
            result = json.loads(place.attrs["result_json"])
            name = chance.choice(list(result))
            result[name] = chance.choice((None, -1, 1e308, "x", [], {}, [None], True, 2**70))
            place.attrs["result_json"] = json.dumps(result)
            for sealed in ("entry", "previous_sha256", "seal_sha256"):  # as of an older program
                place.attrs.pop(sealed)
            file.attrs.pop("seal_version", None)
            return f"marks/1 {name} = {result[name]!r}"
        if kind == "attribute" and len(place.attrs):
            name = chance.choice(list(place.attrs))
            del place.attrs[name]
            value = chance.choice((None, *VALUES))
            if value is not None:
                with contextlib.suppress(OSError, ValueError, RuntimeError):  # too large for HDF5
                    place.attrs[name] = value
            return f"{place.name} {name} = {str(value)[:30]!r}"
        if kind == "data":
            data = file[chance.choice(("trace/counts", "trace/blocks", "events"))]
            size = chance.choice((0, 1, 2**34, data.shape[0] * 2))
            data.resize(size, axis=0)
            return f"{data.name} has {size} rows"
        name = place.name
        if name != "/":
            del file[name]
            if chance.random() < 0.5:
                file.create_dataset(name, data=np.zeros(3))
        return f"object {name}"


def fallen(arguments: tuple[str, ...]) -> str:
    """Run a command; how it fell, or ""."""
    out = io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            signal.setitimer(signal.ITIMER_PROF, HANG_S)
            signal.alarm(10 * HANG_S)  # a wait takes no time of the processor
            try:
                status = run(list(arguments))
            finally:
                signal.alarm(0)
                signal.setitimer(signal.ITIMER_PROF, 0)
    except HangError:
        return f"no end in {HANG_S} s"
    except BaseException:  # whatever a user would see
        return traceback.format_exc(limit=-3)
    if "Traceback" in out.getvalue():
        return "a traceback"
    return "" if status in (0, 1, 2) else f"exit status {status}"


def main() -> None:
    """Mutate and run until files or time are used up."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--files", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=1e9)
    asked.add_argument("--drawn-every", type=int, default=1)
    given = asked.parse_args()

    def hang(*_: object) -> None:
        raise HangError

    for one in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(one, hang)
    end_s, falls, number, tried = time.monotonic() + given.seconds, Counter(), 0, 0
    with tempfile.TemporaryDirectory() as top:
        whole = Path(top) / "whole"
        with contextlib.redirect_stdout(io.StringIO()):
            campaign(whole)
        for number in range(given.files):
            if time.monotonic() > end_s:
                break
            chance = random.Random(f"{given.seed}-{number}")
            folder = Path(shutil.copytree(whole, Path(top) / "kite"))
            os.chdir(folder)
            done = mutate(folder, chance)
            for arguments in COMMANDS:
                if arguments[0] in DRAWS and number % given.drawn_every:
                    continue
                tried += 1
                how = fallen(arguments)
                if how:
                    falls[f"{arguments[0]}: {how.strip().splitlines()[-1][:100]}"] += 1
                    print(f"{given.seed}-{number} {done}\n  {arguments[0]}: {how}", flush=True)
            os.chdir(top)
            shutil.rmtree(folder)
        else:
            number += 1
    print(f"{number} mutated files, {tried} commands, {sum(falls.values())} falls")
    for how, count in falls.most_common():
        print(f"{count}  {how}")
    raise SystemExit(bool(falls))


if __name__ == "__main__":
    main()
