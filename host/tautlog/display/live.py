"""Live: passes a drop's data to a window that runs in its own process.

Nothing here waits for the window. Data that the window has not read yet is thinned and kept.
A window that hangs, dies or is closed does not affect the drop.

The window (`live_window`) reads one JSON object per line, each with its `kind`:

======= ================================================================================
drop    target_n, limit_n (or null), record_s, force_unit: forces are sent in newtons and
        shown in this unit
state   word, text: the board's state in large letters, and a line next to it
trace   time_s, low_n, high_n (lists): smallest and largest force of short pieces of time,
        zero not removed, on the board's clock; null where samples are missing; clipped
release time_s, on the same clock
verdict word, text, peak, peak_text, lines (texts); from_s, to_s of the contact since the
        release, or null
======= ================================================================================
"""

from __future__ import annotations

import contextlib
import json
import queue
import subprocess
import sys
import threading
import time
from collections import deque
from typing import IO

import numpy as np
import numpy.typing as npt

from tautlog.analysis.thinning import extremes
from tautlog.errors import ScreenError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, Instrument

Counts = npt.NDArray[np.uint16]

PIECE_S = 1e-3  # each piece is drawn as its smallest and largest force
SEND_EVERY_S = 0.05
READY_S = 30.0  # a cold disk loads a toolkit slowly
LEAVE_S = 1.0
MOST_WAITING = 4  # trace messages that the window has not read yet
MOST_PIECES = 60_000  # one minute, kept for a window that reads nothing
WINDOW = (sys.executable, "-m", "tautlog.display.live_window")


class Thinner:
    """Reduces blocks to the smallest and largest force of short pieces of time.

    Parameters
    ----------
    instrument : Instrument
        The source of the blocks.
    calibration : Calibration
        Turns counts into forces.
    """

    def __init__(self, instrument: Instrument, calibration: Calibration) -> None:
        self._instrument = instrument
        self._calibration = calibration
        size = instrument.samples_per_block
        pieces = max(1, min(round(size / instrument.sample_rate_hz / PIECE_S), size))
        self._per_piece = -(-size // pieces)
        # Block number, smallest and largest count of each piece. They become forces only when
        # sent, so that taking a block is quick.
        self._taken: deque[tuple[int, Counts, Counts]] = deque(maxlen=MOST_PIECES // pieces)
        self._next: int | None = None

    def __len__(self) -> int:
        return len(self._taken)

    def take(self, block: Block) -> None:
        """Take a block; drop the oldest if there are too many."""
        force = block.counts[:, 0]
        low, high = extremes(force, self._per_piece)
        self._taken.append((block.number, force[low], force[high]))

    def drain(self) -> dict[str, object]:
        """The pieces since the last call, as a message; one null piece where blocks are missing."""
        board, calibration = self._instrument, self._calibration
        times: list[float] = []
        ends: list[list[float | None]] = [[], []]
        clipped = False
        for number, low, high in self._taken:
            start_s = number * board.samples_per_block / board.sample_rate_hz
            if self._next is not None and number != self._next:
                times.append(start_s)
                for end in ends:
                    end.append(None)
            self._next = number + 1
            both = np.stack([low, high])
            clipped |= bool(calibration.clipped(both, board.reduction).any())
            # With a negative calibration slope the smallest count is the largest force.
            forces = np.sort(calibration.force_n(both, board.reduction), axis=0)
            places = self._per_piece * np.arange(low.size)
            times += (start_s + places / board.sample_rate_hz).tolist()
            for end, new in zip(ends, forces.tolist(), strict=True):
                end += new
        self._taken.clear()
        return {"time_s": times, "low_n": ends[0], "high_n": ends[1], "clipped": clipped}


class LiveFeed:
    """Sends messages to a live window; `open` starts the window.

    Parameters
    ----------
    process : Popen
        Reads the messages from its standard input.
    """

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process
        self._waiting: queue.Queue[bytes | None] = queue.Queue()
        self._thinner: Thinner | None = None
        self._sent_s = -SEND_EVERY_S
        self.gone = False
        self._thread = threading.Thread(target=self._pass_on, daemon=True)
        self._thread.start()

    @classmethod
    def open(cls, command: tuple[str, ...] = WINDOW) -> LiveFeed:
        """Start a window and wait until it is ready.

        Raises
        ------
        ScreenError
            If no window can be opened.
        """
        # In its own session: Ctrl-C at the terminal is meant for the drop.
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            start_new_session=True,
        )
        assert process.stdout is not None
        answer = _first_line(process.stdout)
        if answer != "ready":
            process.kill()
            process.communicate()
            raise ScreenError(answer or "no window can be opened: it gave no reason")
        process.stdout.close()
        return cls(process)

    def meet(self, instrument: Instrument, calibration: Calibration) -> None:
        """Take the blocks that follow as those of this instrument."""
        self._thinner = Thinner(instrument, calibration)

    def send(self, kind: str, **content: object) -> None:
        """Send one message, after the trace up to now."""
        self._send_trace()
        self._put({"kind": kind, **content})

    def block(self, block: Block) -> None:
        """Take a block; quick, never waits."""
        if self._thinner is None or self.gone:
            return
        self._thinner.take(block)
        now_s = time.monotonic()
        if now_s - self._sent_s >= SEND_EVERY_S and self._waiting.qsize() < MOST_WAITING:
            self._sent_s = now_s
            self._send_trace()

    def close(self, *, with_window: bool = False) -> None:
        """Stop sending; leave the window open, or close it too."""
        self._send_trace()
        self._waiting.put(None)
        self._thread.join(LEAVE_S)
        if with_window:
            self._process.kill()
            self._process.wait()
            self._thread.join(LEAVE_S)

    def _send_trace(self) -> None:
        if self._thinner:
            self._put({"kind": "trace", **self._thinner.drain()})

    def _put(self, message: dict[str, object]) -> None:
        if not self.gone:
            self._waiting.put((json.dumps(message) + "\n").encode())

    def _pass_on(self) -> None:
        """Write the messages, in a thread: a full pipe blocks only this thread."""
        stdin = self._process.stdin
        assert stdin is not None
        with contextlib.suppress(OSError):
            while (line := self._waiting.get()) is not None:
                _write_all(stdin, line)
        self.gone = True
        with contextlib.suppress(OSError):
            stdin.close()


def _write_all(pipe: IO[bytes], data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[pipe.write(rest) or 0 :]


def _first_line(pipe: IO[bytes]) -> str:
    """The first line of a process, or "" if none comes in time."""
    lines: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=lambda: lines.put(pipe.readline()), daemon=True).start()
    try:
        return lines.get(timeout=READY_S).decode("utf-8", "replace").strip()
    except queue.Empty:
        return ""
