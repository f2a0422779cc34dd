"""Records of minutes: a drop somewhere in them, and other pulls where a test puts them."""

import numpy as np
from made_records import CALIBRATION, PER_BLOCK, REAL, SETUP
from traces import RATE_HZ, arrest

from tautlog.firmware import wire
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.record import RecordWriter

FALLS_S = 4.0  # of the drop that is put in, from the release on
ZERO_V, NOISE_N = 0.5, 0.5
AT_ONCE = 1024  # blocks


def long_record(
    path,
    *,
    seconds,
    at_s,
    released=True,
    pulls=(),
    left_out=(),
    rate_hz=RATE_HZ,
    stiffness=20_800.0,
    seed=1,
):
    """Write a record of a board with one drop; its path.

    Parameters
    ----------
    seconds, at_s : float
        Length of the record, and where in it the sled is released.
    released : bool
        The release switch told of it.
    pulls : iterable of (float, float)
        Further pulls, half a sine of 50 ms each: their time in seconds, and their peak in newtons.
    left_out : iterable of (float, float)
        Stretches in seconds whose blocks never came.
    rate_hz : float
        Samples per second, `RATE_HZ` or a whole fraction of it.
    """
    step = round(RATE_HZ / rate_hz)
    force_n = arrest(9.0, 1.2, stiffness, 0.12, total_s=FALLS_S)[1][::step]
    made = _Made(force_n, round(at_s * rate_hz), rate_hz, tuple(pulls), seed)
    instrument = Instrument("0.1.0", REAL, "e66138", rate_hz, 8, ("force",), PER_BLOCK, 68)
    writer = RecordWriter.create(
        path, setup=SETUP, calibration=CALIBRATION, instrument=instrument, campaign="kite"
    )
    blocks = int(seconds * rate_hz) // PER_BLOCK
    for first in range(0, blocks, AT_ONCE):
        count = min(AT_ONCE, blocks - first)
        pieces = made.counts(first * PER_BLOCK, count * PER_BLOCK).reshape(count, PER_BLOCK, 1)
        for number, piece in enumerate(pieces, start=first):
            begins_s = number * PER_BLOCK / rate_hz
            if not any(low <= begins_s < high for low, high in left_out):
                writer.append(Block(number, _stamp_us(number + 1, rate_hz), 0, 0, piece))
    _tell(writer, blocks * PER_BLOCK, made.at, rate_hz, released)
    writer.finish("complete")
    return path


class _Made:
    """Counts of a long record, piece by piece."""

    def __init__(self, force_n, at, rate_hz, pulls, seed):
        self.force_n, self.at, self.rate_hz = force_n, at, rate_hz
        self.pulls, self.seed = pulls, seed

    def counts(self, start, size):
        """Counts of a stretch; the same whatever the stretch before was."""
        noise = np.random.default_rng([self.seed, start]).normal(0.0, NOISE_N, size)
        places = np.arange(start, start + size) - self.at
        force_n = np.where(places < 0, 0.0, self.force_n[np.clip(places, 0, self.force_n.size - 1)])
        for at_s, peak_n in self.pulls:
            phase = (np.arange(start, start + size) / self.rate_hz - at_s) / 0.05
            inside = (phase >= 0.0) & (phase < 1.0)
            force_n = force_n + np.where(inside, peak_n * np.sin(np.pi * phase), 0.0)
        volts = ZERO_V + (force_n + noise) / CALIBRATION.newton_per_volt
        counts = np.round(volts / CALIBRATION.volt_per_count(8))
        return np.clip(counts, 0, 8 * 4095).astype(np.uint16)


def _stamp_us(blocks, rate_hz):
    return round(blocks * PER_BLOCK * 1e6 / rate_hz) % wire.TICKS_PERIOD_US


def _tell(writer, size, at, rate_hz, released):
    told = [("armed", 0, 1 if released else 2)]
    if released:
        told += [("release-driven", at - 300, 0), ("release-opened", at, 0)]
    told += [("recording-ended", size, wire.FINISHED)]
    for number, (name, index, value) in enumerate(told):
        stamp_us = round(index * 1e6 / rate_hz) % wire.TICKS_PERIOD_US
        writer.add_event(BoardEvent(number, name, index, stamp_us, value))
