"""Mutated files of a campaign under eight commands: no traceback, no hang, nothing false.

Usage: python tests/benchmarks/mutations.py --files 10000 --seed 1 [--workers 2] [--seconds 600]

Each turn copies a small campaign, mutates one of its files (bits, bytes, cuts, zeros, doubled
pieces, blocks in each other's place, words and numbers of its text, values of its JSON and TOML,
HDF5 attributes and data sets by name, sealed again or not) and runs the commands in a process of
its own, forked from one that has everything imported. A command falls if it shows a traceback,
ends with another status than 0, 1 or 2, is killed (by a signal, or for more than 4 GB) or takes
60 s of the processor. It is false if `verify` calls a record intact that a plain HDF5 reader sees
changed, or finds nothing although a kept line was.

Pictures are made of all that is seen; only every `--drawn-every`th file has them drawn as well.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import hashlib
import io
import json
import os
import pickle
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MPLBACKEND", "agg")

import h5py
import numpy as np
from brought_up import step_done
from jinja2 import Environment
from made_records import CALIBRATION, SETUP, imported
from matplotlib.figure import Figure
from traces import RATE_HZ, arrest

from tautlog.archive import assess
from tautlog.campaign.bring_ups import add_step
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.deviations import Deviation, enter_deviation
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.campaign.proofs import Proof, add_proof
from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.firmware import wire
from tautlog.mechanics import first_peak, motion
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.planning import plan
from tautlog.record import RecordWriter, add_decision, add_inspection
from tautlog.record.seal import put_seal

HANG_S, MOST_BYTES = 60, 4 << 30
UTC = "2026-03-01T10:00:00Z"
RECORD = "drop.h5"
LINES = ("chain.jsonl", "ledger.jsonl", "proofs.jsonl", "bring_up.jsonl", "deviations.jsonl")
KEPT = LINES[1:]
COMMANDS = (
    ("list",),
    ("verify", "--json"),
    ("ledger",),
    ("report", "--out", "r.html"),
    ("mark", RECORD),
    ("show", RECORD, "--out", "p.png"),
    ("export", RECORD, "--out", "e.csv"),
    ("next",),
)
TEXTS = (
    *(b"NaN", b"Infinity", b"-1", b"1e400", b"9" * 400, b"null", b"true", b"[]", b"{}", b'""'),
    *(b"\\u0000", b"\xff\xfe", b"[" * 5000, b'"' + b"x" * 100_000 + b'"', b"17179869184"),
)
VALUES = (
    *(float("nan"), float("inf"), -1.0, 0.0, 1e308, 5e-324, -(2**63), 2**63 - 1, 0, 1, 65535),
    *("", "x", "NaN", "\u2028", "x" * 100_000, "9" * 400, "[" * 5000, '{"a": NaN}', "{}", "null"),
    *(np.zeros(0), np.zeros(2000), np.array(["a", "b"], "S1"), np.bool_(True), np.complex128(1j)),
)
JSON_VALUES = (None, -1, 0, 1e308, 2**70, "x", "", [], {}, [None], True, "2026-02-30", "x" * 10_000)


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
    mark_new(small(folder / RECORD))
    add_inspection(folder / RECORD, by="A", finding="intact")
    add_decision(folder / RECORD, by="A", verdict="pass", proposed="pass", reason="seen")


def small(path: Path) -> Path:
    """A record of a drop from 0.3 m, sampled an eighth as often: most of the time goes into it."""
    rate_hz, per_block, before = RATE_HZ / 8, 256, 1024
    force_n = arrest(9.0, 0.3, 20_800.0, 0.12, total_s=1.2)[1][::8]
    whole = np.concatenate([np.zeros(before), force_n])
    noise = np.random.default_rng(1).normal(0.0, 0.5, whole.size)
    volts = 0.5 + (whole + noise) / CALIBRATION.newton_per_volt
    counts = np.round(volts / CALIBRATION.volt_per_count(8)).astype(np.uint16)[:, np.newaxis]
    instrument = Instrument("0.1.0", "RP2040", "e66138", rate_hz, 8, ("force",), per_block, 68)
    writer = RecordWriter.create(path, setup=SETUP, calibration=CALIBRATION, instrument=instrument)
    for number in range(len(counts) // per_block):
        stamp_us = round((number + 1) * per_block * 1e6 / rate_hz)
        piece = counts[number * per_block : (number + 1) * per_block]
        writer.append(Block(number, stamp_us, 0, 0, piece))
    end = len(counts) // per_block * per_block
    told = [("armed", 4, 1), ("release-driven", before - 40, 0), ("release-opened", before, 0)]
    for number, (name, index, value) in enumerate((*told, ("recording-ended", end, wire.FINISHED))):
        writer.add_event(BoardEvent(number, name, index, round(index * 1e6 / rate_hz), value))
    writer.finish("complete")
    return path


def mutate(folder: Path, chance: random.Random) -> str:
    """Change one file; what was done, in words."""
    path = folder / chance.choice([RECORD] * 7 + [*LINES, "campaign.toml"])
    if path.name == RECORD and chance.random() < 0.5:
        return f"{path.name}: {mutate_h5(path, chance)}"
    if path.name != RECORD and chance.random() < 0.5:
        return f"{path.name}: {mutate_value(path, chance)}"
    content = bytearray(path.read_bytes())
    at = chance.randrange(len(content))
    if path.name == RECORD and chance.random() < 0.7:
        at = chance.randrange(min(len(content), 20_000))  # where the headers lie
    kind = chance.choice(("bits", "bytes", "cut", "zeros", "doubled", "swapped", "text", "empty"))
    size = chance.choice((16, 512, 4096))
    if kind == "bits":
        for _ in range(chance.choice((1, 1, 8))):
            content[chance.randrange(len(content)) if _ else at] ^= 1 << chance.randrange(8)
    elif kind == "bytes":
        content[at : at + 8] = chance.randbytes(8)
    elif kind == "cut":
        del content[at:]
    elif kind == "zeros":
        content[at : at + size] = bytes(len(content[at : at + size]))
    elif kind == "doubled":
        content[at:at] = content[at : at + size]
    elif kind == "swapped":
        other = chance.randrange(len(content))
        one, two = content[at : at + size], content[other : other + size]
        content[at : at + len(two)], content[other : other + len(one)] = two, one
    elif kind == "text":
        content[at : at + chance.choice((0, 1, 4))] = chance.choice(TEXTS)
    else:
        content.clear()
    path.write_bytes(content)
    return f"{path.name}: {kind} at {at}"


def mutate_value(path: Path, chance: random.Random) -> str:
    """Another value in a line of JSON or TOML."""
    lines = path.read_text().splitlines()
    value: object = chance.choice(JSON_VALUES)
    if path.suffix == ".toml":
        places = [place for place, line in enumerate(lines) if re.match(r"#? ?\w+ = ", line)]
        place = chance.choice(places)
        name = lines[place].lstrip("# ").split(" = ")[0]
        lines[place] = f"{name} = {json.dumps(value)}"
    else:
        place = chance.randrange(len(lines))
        line = json.loads(lines[place])
        name = chance.choice([*line, "supersedes"])
        lines[place] = json.dumps(line | {name: value})
    path.write_text("\n".join(lines) + "\n")
    return f"line {place + 1} {name} = {str(value)[:30]!r}"


def mutate_h5(path: Path, chance: random.Random) -> str:
    """Change an attribute or an object by its name, as a program with an HDF5 library would."""
    with h5py.File(path, "r+") as file:
        done = changed_h5(file, chance)
        if chance.random() < 0.3:
            with contextlib.suppress(KeyError, TypeError, ValueError, RuntimeError, OSError):
                put_seal(file)
                done += ", sealed again"
    return done


def changed_h5(file: h5py.File, chance: random.Random) -> str:
    """Change an attribute or an object; what was done."""
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


def fallen(arguments: tuple[str, ...]) -> tuple[str, str]:
    """Run a command; how it fell, or "", and what it printed."""
    out = io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            signal.setitimer(signal.ITIMER_PROF, HANG_S)
            try:
                status = run(list(arguments))
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
    except HangError:
        return f"no end in {HANG_S} s", ""
    except BaseException:  # whatever a user would see
        return traceback.format_exc(limit=-3), ""
    if "Traceback" in out.getvalue():
        return "a traceback", ""
    return "" if status in (0, 1, 2) else f"exit status {status}", out.getvalue()


def seen_in(path: Path) -> str:
    """What a plain HDF5 reader sees in a record, as a hash."""
    seen = hashlib.sha256()

    def look(name: str, place: h5py.HLObject) -> None:
        seen.update(name.encode() + b"\n")
        for one in sorted(place.attrs):
            seen.update(f"{one}={place.attrs[one]!r}\n".encode("utf-8", "replace"))
        if isinstance(place, h5py.Dataset):
            seen.update(str(place.dtype).encode() + place[()].tobytes())

    with h5py.File(path, "r") as file:
        look("/", file)
        file.visititems(look)
    return seen.hexdigest()


def false_in(whole: Path, verified: str) -> str:
    """What `verify` did not see, or ""."""
    found, _ = json.JSONDecoder().raw_decode(verified)  # an error may follow
    states = [one["state"] for one in found if Path(one["record"]).name == RECORD]
    if states == ["intact"] and seen_in(Path(RECORD)) != seen_in(whole / RECORD):
        return "false: a changed record is intact"
    fine = {one["state"] for one in found} <= {"intact", "unfinished", "unchained"}
    for name in KEPT:
        if fine and Path(name).read_bytes().rstrip() != (whole / name).read_bytes().rstrip():
            return f"false: {name} was changed, and nothing is told"
    return ""


def tried(folder: Path, whole: Path) -> dict[str, str]:
    """Run the commands on a mutated campaign, as one process does; what fell, by command."""
    os.chdir(folder)
    falls = {}
    for arguments in COMMANDS:
        how, out = fallen(arguments)
        if not how and arguments[0] == "verify":
            try:
                how = false_in(whole, out)
            except (OSError, ValueError, KeyError, RuntimeError, TypeError) as problem:
                how = "" if "intact" not in out else f"false: a plain reader says {problem}"
        if how:
            falls[arguments[0]] = how
    return falls


def remember_answers() -> None:
    """Keep what costs time and depends on nothing but what it is given, for all children."""
    solvers = (assess, "mark"), (first_peak, "contacts"), (motion, "contacts")
    for place, name in (*solvers, (plan, "ladder"), (Environment, "compile")):
        setattr(place, name, remembered(getattr(place, name)))


def remembered(question: Callable[..., object]) -> Callable[..., object]:
    """The same function, which answers at once what it was asked before."""
    known: dict[bytes, object] = {}

    @functools.wraps(question)
    def answer(*given: object, **named: object) -> object:
        own = given[1:] if isinstance(given[0], Environment) else given
        try:
            key = pickle.dumps((own, named))
        except (TypeError, AttributeError, pickle.PicklingError):
            return question(*given, **named)
        if key not in known:
            known[key] = question(*given, **named)
        return known[key]

    return answer


def in_a_child(folder: Path, whole: Path, *, drawn: bool) -> dict[str, str]:
    """The same in a forked process with a limit of its memory."""
    told = folder.parent / "told.json"
    told.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        try:
            signal.signal(signal.SIGPROF, hang)
            resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
            if not drawn:
                Figure.savefig = written  # type: ignore[method-assign]
                Figure.findobj = nothing_found  # type: ignore[method-assign,assignment]
            told.write_text(json.dumps(tried(folder, whole)))
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    if not os.WIFEXITED(status) or not told.exists():
        return {"killed": f"status {status}"}
    return dict(json.loads(told.read_text()))


def written(_: Figure, place: object, **__: object) -> None:
    """Stands for the drawing of a picture."""
    if isinstance(place, io.StringIO):
        place.write("<svg></svg>")
    elif not hasattr(place, "write"):
        Path(str(place)).touch()


def nothing_found(*_: object) -> list[object]:
    """Stands for the search for signs that no font shows, which makes every tick of an axis."""
    return []


def hang(*_: object) -> None:
    """End a command that takes too long."""
    raise HangError


def work(given: argparse.Namespace, number: int, whole: Path) -> None:
    """The share of one worker; it keeps what fell in a file."""
    end_s, falls = time.monotonic() + given.seconds, Counter[str]()
    top = whole.parent / str(number)
    top.mkdir()
    for done, turn in enumerate(range(number, given.files, given.workers), start=1):
        if time.monotonic() > end_s:
            break
        chance = random.Random(f"{given.seed}-{turn}")
        folder = Path(shutil.copytree(whole, top / "kite"))
        what = mutate(folder, chance)
        drawn = turn % given.drawn_every == 0
        for command, how in in_a_child(folder, whole, drawn=drawn).items():
            falls[f"{command}: {how.strip().splitlines()[-1][:100]}"] += 1
            print(f"{given.seed}-{turn} {what}\n  {command}: {how}", flush=True)
        shutil.rmtree(folder)
        (whole.parent / f"{number}.json").write_text(json.dumps([done, falls]))
        if done % 250 == 0:
            print(f"worker {number}: {done} files, {falls.total()} falls", flush=True)


def main() -> None:
    """Mutate and run until files or time are used up."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--files", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=1e9)
    asked.add_argument("--drawn-every", type=int, default=16)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as top:
        whole = Path(top) / "whole"
        with contextlib.redirect_stdout(io.StringIO()):
            campaign(whole)
            remember_answers()
            tried(Path(shutil.copytree(whole, Path(top) / "first")), whole)  # imports everything
        children = [functools.partial(work, given, one, whole) for one in range(given.workers)]
        for child in [forked(one) for one in children]:
            os.waitpid(child, 0)
        files, falls = 0, Counter[str]()
        for path in Path(top).glob("*.json"):
            done, fell = json.loads(path.read_text())
            files += done
            falls.update(fell)
    commands = files * len(COMMANDS)
    print(f"{files} mutated files, {commands} commands, {falls.total()} falls")
    for how, count in falls.most_common():
        print(f"{count}  {how}")
    raise SystemExit(bool(falls))


def forked(task: functools.partial[None]) -> int:
    """Do something in a child; its number."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        try:
            task()
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(0)
    return child


if __name__ == "__main__":
    main()
