"""Records of a simulated rig with several channels, made without a board in a second or two."""

from __future__ import annotations

import numpy as np

from tautlog.firmware import wire
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.record import RecordWriter
from tautlog.rehearsal.rig import SimulatedRig

BOARD = "virtual board under CPython 3.11.2"
PER_BLOCK = 512
REDUCTION = 8
BEFORE_S = 0.5
DRIVEN = wire.OUTPUT_DRIVE | wire.OUTPUT_BEAT  # no driver conducts without its heartbeat


def recorded(path, scene, *, seed=1, record_s=4.0, channels=None):
    """Write the record of a scene's drop; its path.

    `channels` are what the record says of the channels (default: what the crew believes).
    """
    rig = SimulatedRig(scene, reduction=REDUCTION, seed=seed)
    names = scene.names
    rate = 500_000.0 / (REDUCTION * len(names))
    board = Instrument("0.1.0", BOARD, "e66138", rate, REDUCTION, names, PER_BLOCK, 68)
    writer = RecordWriter.create(
        path,
        setup=scene.setup,
        calibration=scene.calibration,
        instrument=board,
        utc="2026-03-02T10:00:00.000Z",
        channels=scene.channels if channels is None else channels,
    )
    told = []
    for number in range(int((BEFORE_S + record_s) * rate / PER_BLOCK)):
        driven = number * PER_BLOCK >= BEFORE_S * rate and rig.release_at is None
        seen = rig.advance(PER_BLOCK, DRIVEN if driven else 0)
        counts = seen.counts.reshape(PER_BLOCK, len(names))
        writer.append(Block(number, _stamp((number + 1) * PER_BLOCK / rate), 0, 0, counts))
        told += [
            round(number * PER_BLOCK + edge.offset)
            for edge in seen.edges
            if edge.input == wire.INPUT_LATCHED and not edge.closed
        ]
    end = (number + 1) * PER_BLOCK
    events = [("armed", 4 * PER_BLOCK, 1), ("release-driven", told[0] - 300, 0)]
    events += [("release-opened", told[0], 0), ("recording-ended", end, wire.FINISHED)]
    for number, (name, index, value) in enumerate(events):
        writer.add_event(BoardEvent(number, name, index, _stamp(index / rate), value))
    writer.finish()
    return path, rig


def _stamp(time_s):
    return round(1e6 * time_s) % wire.TICKS_PERIOD_US


def felt(values):
    return np.asarray(values, np.float64)
