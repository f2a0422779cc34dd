"""Trace of a drop for open pages: every sample, as forces, a little after it came.

The receiver hands over blocks and goes on at once; a thread makes forces of them and tells the
feed. What nobody reads is dropped by the feed. The last seconds are kept, for pages that come back.
"""

from __future__ import annotations

import base64
import math
import threading
from collections import deque
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.desk.feed import Feed
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, columns_of
from tautlog.model.stream import Block, Instrument

EVERY_S = 0.04  # pages draw no oftener
KEEP_S = 12.0
# Rounds of blocks that may wait; beyond it the oldest are not shown. Frames that come faster than
# the board gives them, as after a stall, must not cost the receiver its processor.
MOST_ROUNDS = 3.0


@dataclass(frozen=True)
class Piece:
    """Forces without a hole between them.

    Attributes
    ----------
    number : int
        Grows by one from piece to piece.
    start_s, step_s : float
        Time of the first sample on the board's clock, and from sample to sample.
    force_n : ndarray of float32, shape (samples,)
        Force of the first cell, less the mean of the first piece: then the sled hung on its latch.
    """

    number: int
    start_s: float
    step_s: float
    force_n: npt.NDArray[np.float32]

    def told(self) -> dict[str, object]:
        """As a message: forces as little-endian float32 in base64."""
        data = base64.b64encode(self.force_n.astype("<f4").tobytes()).decode()
        return {"number": self.number, "start": self.start_s, "step": self.step_s, "force": data}


class DropTrace:
    """The trace of the drop that is under way.

    Parameters
    ----------
    feed : Feed
        Tells open pages.
    """

    def __init__(self, feed: Feed) -> None:
        self._feed = feed
        self._waiting: deque[Block] = deque(maxlen=0)
        self._pieces: deque[Piece] = deque()
        self._guard = threading.Lock()
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None
        self._number = 0
        self._zero_n: float | None = None
        self.legs = 1

    def begin(self, board: Instrument, calibration: Calibration) -> None:
        """Take the blocks that follow as those of this board."""
        self.end()
        self.legs = max(1, len(columns_of(board.channels, FORCE)))
        with self._guard:
            self._pieces.clear()
            blocks = MOST_ROUNDS * EVERY_S * board.sample_rate_hz / board.samples_per_block
            self._waiting = deque(maxlen=max(8, math.ceil(blocks)))
        self._zero_n = None
        self._ended = threading.Event()
        about = (board, calibration, self._ended)
        self._thread = threading.Thread(target=self._tell_on, args=about, daemon=True)
        self._thread.start()

    def take(self, block: Block) -> None:
        """Take a block; quick, never waits."""
        self._waiting.append(block)

    def end(self) -> None:
        """Tell what is left, and stop."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def pieces(self) -> list[Piece]:
        """The last seconds."""
        with self._guard:
            return list(self._pieces)

    def _tell_on(self, board: Instrument, calibration: Calibration, ended: threading.Event) -> None:
        while not ended.wait(EVERY_S):
            self._tell(board, calibration)
        self._tell(board, calibration)

    def _tell(self, board: Instrument, calibration: Calibration) -> None:
        for run in _runs(self._taken()):
            counts = np.concatenate([block.counts[:, 0] for block in run])
            start_s = run[0].number * board.samples_per_block / board.sample_rate_hz
            pulled_n = calibration.force_n(counts, board.reduction)
            if self._zero_n is None:
                self._zero_n = float(pulled_n.mean())
            force = (pulled_n - self._zero_n).astype(np.float32)
            self._number += 1
            piece = Piece(self._number, start_s, 1.0 / board.sample_rate_hz, force)
            with self._guard:
                self._pieces.append(piece)
                while self._pieces[0].start_s < start_s - KEEP_S:
                    self._pieces.popleft()
            if self._feed.readers:
                self._feed.tell("trace", piece.told())

    def _taken(self) -> list[Block]:
        found = []
        while self._waiting:
            found.append(self._waiting.popleft())
        return found


def _runs(blocks: list[Block]) -> list[list[Block]]:
    """Blocks parted where numbers are missing."""
    runs: list[list[Block]] = []
    for block in blocks:
        if runs and runs[-1][-1].number + 1 == block.number:
            runs[-1].append(block)
        else:
            runs.append([block])
    return runs
