"""How fast frames become a record, beside plain h5py writing the same samples.

    python tests/benchmarks/receiver.py [MEGABYTES] [FOLDER]

Prints megabytes of samples per second of the whole way (decode, check, append,
commit with fsync, acknowledge, seal) on one core, without the making of the frames, and the share
of the bare library's speed with one fsync at the end. Machines differ: the ratio is the figure.
"""

import os
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np
from measured import Measured, show

from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.display.live import LiveFeed
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter

PER_BLOCK = 2048
BLOCK_BYTES = 2 * PER_BLOCK
HANGS = (sys.executable, "-c", "import time; print('ready', flush=True); time.sleep(600)")
BOARD = Instrument("0", "bench", "bench", 250000.0, 2, ("force",), PER_BLOCK, 32)


class FrameLink:
    """Gives out ready frames as fast as they are read, 64 KiB at a time."""

    def __init__(self, blocks: int) -> None:
        rng = np.random.default_rng(1)
        samples = rng.integers(0, 8190, (16, PER_BLOCK), dtype="<u2")
        self._bodies = [row.tobytes() for row in samples]
        self._blocks = blocks
        self._next = 0
        self._buffer = b""

    def read(self) -> bytes:
        while len(self._buffer) < 1 << 16 and self._next < self._blocks:
            number = self._next
            head = wire.struct.pack(
                wire.BLOCK_HEAD, number, max(0, number - 31), 0, 0, 0, PER_BLOCK, 1, 16
            )
            self._buffer += wire.frame(
                wire.BLOCK, number & 0xFFFF, head + self._bodies[number % 16]
            )
            self._next += 1
        data, self._buffer = self._buffer[: 1 << 16], self._buffer[1 << 16 :]
        return data

    def write(self, data: bytes) -> None:
        """Acknowledgements go nowhere."""

    def close(self) -> None:
        """Nothing is open."""


def frames_to_record(path: Path, blocks: int, feed: LiveFeed | None = None) -> tuple[float, float]:
    """Seconds of the whole way, and of making the frames alone; shown live by `feed`."""
    link = FrameLink(blocks)
    start = time.perf_counter()
    while link.read():
        pass
    making_s = time.perf_counter() - start
    session = Session(FrameLink(blocks))
    session.instrument = BOARD
    writer = RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=BOARD
    )
    receiver = Receiver(session, writer, 0, feed.block if feed else None)
    start = time.perf_counter()
    while receiver.expected < blocks:
        receiver.step()
    receiver.commit()
    writer.finish()
    return time.perf_counter() - start - making_s, making_s


def plain_h5py(path: Path, blocks: int, at_once: int) -> float:
    """Seconds of h5py appending the same samples, so many blocks at once, and one fsync."""
    body = np.zeros((PER_BLOCK * at_once, 1), "<u2")
    start = time.perf_counter()
    with h5py.File(path, "w") as file:
        counts = file.create_dataset(
            "counts", (0, 1), "<u2", maxshape=(None, 1), chunks=(1 << 16, 1)
        )
        for _ in range(blocks // at_once):
            before = counts.shape[0]
            counts.resize(before + len(body), axis=0)
            counts[before:] = body
    with open(path, "rb+") as raw:
        os.fsync(raw.fileno())
    return time.perf_counter() - start


def peak_memory(folder: Path, blocks: int) -> int:
    """Most bytes that Python held during a capture."""
    tracemalloc.start()
    frames_to_record(folder / f"memory-{blocks}.h5", blocks)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


def figures(megabytes: int = 200, place: str | None = None) -> Iterator[Measured]:
    """Megabytes a second, and memory."""
    blocks = megabytes * 1_000_000 // BLOCK_BYTES
    size_mb = blocks * BLOCK_BYTES / 1e6
    with tempfile.TemporaryDirectory(dir=place) as name:
        folder = Path(name)
        whole_s, _ = frames_to_record(folder / "whole.h5", blocks)
        feed = LiveFeed.open(HANGS)
        feed.meet(BOARD, Calibration())
        live_s, _ = frames_to_record(folder / "live.h5", blocks, feed)
        feed.close(with_window=True)
        plain_s = {n: plain_h5py(folder / f"plain{n}.h5", blocks, n) for n in (1, 32)}
        short, long = (peak_memory(folder, one) for one in (blocks // 40, blocks // 2))
    plain = [
        f"h5py, {at_once} at once, {size_mb / seconds:.0f} MB/s: {seconds / whole_s:.2f} of it"
        for at_once, seconds in plain_s.items()
    ]
    yield Measured(
        f"blocks to a record on disk, {size_mb:.0f} MB, each second committed",
        f"{size_mb / whole_s:.0f} MB/s",
        "; ".join(plain),
    )
    yield Measured("with a window that takes nothing", f"{whole_s / live_s:.2f} of that")
    yield Measured(
        "memory of a reception 20 times as long",
        f"{long / 1e6:.1f} MB",
        f"{short / 1e6:.1f} MB for the short one",
    )


if __name__ == "__main__":
    show(figures(*map(int, sys.argv[1:2]), *sys.argv[2:3]))
