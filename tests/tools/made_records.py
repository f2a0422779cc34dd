"""Records as a board would have made them, in a second: counts of a formula's force."""

import numpy as np
from traces import BEFORE_S, RATE_HZ, arrest

from tautlog.cli import run
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter

REAL, VIRTUAL = "RP2040 board with MicroPython 1.28.0", "virtual board under CPython 3.11.2"
PER_BLOCK = 1024
SETUP = DropSetup(
    mass_kg=9.0, height_m=1.2, target_n=1800.0, article="bridle-1", line="polyester 8 mm, 1.5 m"
)
# The counts below are rounded evenly.
CALIBRATION = Calibration(
    newton_per_volt=1000.0, range_n=2700.0, date="2026-03-01", converter="even"
)


def made(
    path,
    *,
    setup=SETUP,
    board=REAL,
    status="complete",
    released=True,
    stiffness=20_800.0,
    utc="2026-03-02T10:00:00.000Z",
    drops=True,
    went_safe=0,
):
    """Write a record of a sled that falls on a line, or of one that hangs; its path.

    `went_safe` is the reason for which the board says that it went safe, of `wire.REASONS`.
    """
    force_n = arrest(9.0, 1.2, stiffness, 0.12, total_s=4.0)[1]
    whole = np.concatenate([np.zeros(int(BEFORE_S * RATE_HZ)), force_n if drops else 0 * force_n])
    noise = np.random.default_rng(1).normal(0.0, 0.5, whole.size)
    volts = 0.5 + (whole + noise) / CALIBRATION.newton_per_volt
    counts = np.round(volts / CALIBRATION.volt_per_count(8)).astype(np.uint16)
    instrument = Instrument("0.1.0", board, "e66138", RATE_HZ, 8, ("force",), PER_BLOCK, 68)
    writer = RecordWriter.create(
        path,
        setup=setup,
        calibration=CALIBRATION,
        instrument=instrument,
        campaign="kite",
        utc=utc,
    )
    for number in range(counts.size // PER_BLOCK):
        piece = counts[number * PER_BLOCK : (number + 1) * PER_BLOCK, np.newaxis]
        writer.append(Block(number, (number + 1) * 16384, 0, 0, piece))
    end = counts.size // PER_BLOCK * PER_BLOCK
    at = int(BEFORE_S * RATE_HZ)
    told = [("armed", 4 * PER_BLOCK, 1)]
    if released:
        told += [("release-driven", at - 300, 0), ("release-opened", at, 0)]
        told += [("recording-ended", end, wire.FINISHED)]
    if went_safe:
        told += [("went-safe", end, went_safe)]
    for number, (name, index, value) in enumerate(told):
        stamp_us = round(index * 1e6 / RATE_HZ)
        writer.add_event(BoardEvent(number, name, index, stamp_us, value))
    if status == "recording":
        writer.leave()
    else:
        writer.finish(status)
    return path


def imported(folder, name, peak, article="a", note=""):
    """A small record from a CSV trace."""
    table = folder / f"{name}.csv"
    time_s = np.arange(2000) / 1000
    force = np.where((time_s > 0.5) & (time_s < 0.56), peak, 0.0) * np.sin(
        np.pi * np.clip((time_s - 0.5) / 0.06, 0, 1)
    )
    table.write_text("t,f\n" + "".join(f"{a},{b}\n" for a, b in zip(time_s, force, strict=True)))
    given = ["--force-column", "f", "--time-column", "t", "--mass", "9", "--height", "1"]
    given += ["--target", "1000", "--article", article, "--line", "l", "--note", note]
    assert run(["import", str(table), *given, "--out", str(folder / f"{name}.h5")]) == 0
    table.unlink()
    return folder / f"{name}.h5"
