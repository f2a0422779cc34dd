"""What the firmware reaches on an emulated RP2040 or RP2350, in emulated time.

    TAUTLOG_BOARD_IMAGE=RPI_PICO.uf2 python tests/benchmarks/board.py [rp2350] [RATE_HZ ...]

Streams unreduced samples, in the largest blocks, with checks and acknowledgements at each
rate, and reads the processor's share; 62500 is the default mode, sums of 8. Emulated time
has no flash wait states and an ideal host: the figures are upper bounds of what a board
can do. Minutes long.
"""

import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from benchmarks.measured import Measured, show
from emulated.bench import CHIPS, EmulatedBoard, board_files, find_image, march_of

from tautlog.board.link import SerialLink
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.firmware import wire

# The laptop's clock runs at about the emulated board's pace, or it would acknowledge
# twenty-five times as often as it does with a board.
PACE = 25.0
PATIENCE = 4.0
STREAM_S = 1.2
DEFAULT_HZ = 62_500
RATES = (DEFAULT_HZ, 250_000, 400_000)
SHARE_S = 1.5  # of the board's time
UNREDUCED = {
    "REDUCTION": 1,
    "SAMPLES_PER_BLOCK": 2048,
    "HISTORY_BLOCKS": 34,
    "GUARD_BEFORE_S": 0.01,
    "GUARD_AFTER_S": 0.1,
}


class Nowhere:
    """A store that only counts."""

    def __init__(self) -> None:
        self.numbers: list[int] = []
        self.stamps_us: list[int] = []
        self.lost = 0

    def append(self, block) -> None:
        self.numbers.append(block.number)
        self.stamps_us.append(block.stamp_us)
        self.lost += block.lost + (block.flags != 0)

    def add_event(self, event) -> None:
        """None are expected."""

    def commit(self) -> None:
        """There is no disk."""


ON = "emulated boards with real MicroPython images"


def stream(board: EmulatedBoard, rate_hz: int) -> Measured:
    """Stream for a while, and say what was seen."""
    with SerialLink(board.port) as link:
        session = Session(link, timeout_scale=PATIENCE, clock=lambda: time.monotonic() / PACE)
        instrument = session.greet()
        store = Nowhere()
        first = int(str(session.ask("stream", on=True)["first"]))
        receiver = Receiver(session, store, first)
        before = session.bytes_received
        wanted = int(STREAM_S * instrument.sample_rate_hz / instrument.samples_per_block)
        while receiver.expected - first < wanted:
            receiver.step()
        got_bytes = session.bytes_received - before
        behind = receiver.status.head - receiver.expected if receiver.status else -1
        blocks = len(store.numbers)
        share = processor_share(session, receiver)
    gaps = receiver.missing_blocks
    span_us = (store.stamps_us[-1] - store.stamps_us[0]) % (1 << 30)
    seen_hz = (len(store.numbers) - 1) * instrument.samples_per_block / span_us * 1e6
    per_sample = got_bytes / (blocks * instrument.samples_per_block)
    verdict = "lossless" if not gaps and not store.lost else "LOSSES"
    return Measured(
        f"stream of {rate_hz} samples/s",
        f"{verdict}, {per_sample * seen_hz / 1000:.0f} kB/s, processor {share:.0%} busy",
        f"{blocks} blocks at {seen_hz:.0f} samples/s, {per_sample:.3f} bytes a sample; {gaps} "
        f"missing, {store.lost} flagged, {session.damaged} damaged, {behind} behind at the end",
    )


def processor_share(session: Session, receiver: Receiver) -> float:
    """Share of time in which main loop or sampling had something to do, from two answers.

    The stream goes on in between, for long enough that the answers themselves do not count.
    """
    rest, at = [], []
    for _ in range(2):
        answer = session.ask("status")
        rest.append(int(str(answer["rest_us"])))
        at.append(int(str(answer["stamp_us"])))
        while not rest[1:] and wire.ticks_elapsed_us(_stamp_us(receiver), at[0]) < 1e6 * SHARE_S:
            receiver.step()
    span_us = (at[1] - at[0]) % (1 << 30)
    return 1.0 - (rest[1] - rest[0]) % (1 << 30) / span_us


def _stamp_us(receiver: Receiver) -> int:
    """The board's clock in the newest status."""
    assert receiver.status is not None
    return receiver.status.stamp_us


def figures(chips: Sequence[str] = ("rp2040",), rates: Sequence[int] = RATES) -> Iterator[Measured]:
    """Streams at each rate on each chip."""
    for chip in chips:
        image, why_not = find_image(chip)
        if image is None:
            raise SystemExit(why_not)
        for rate_hz in rates:
            changes: dict[str, object] = {"WATCHDOG_MS": 0}
            if rate_hz != DEFAULT_HZ:
                changes |= {"CONVERSION_RATE_HZ": rate_hz, **UNREDUCED}
            with tempfile.TemporaryDirectory() as folder:
                files = board_files(Path(folder) / "board", march_of(image), **changes)
                with EmulatedBoard(image, files, "ramp") as board:
                    found = stream(board, rate_hz)
                    yield replace(found, what=f"{found.what} on {chip}")


if __name__ == "__main__":
    given = sys.argv[1:]
    show(
        figures(
            [one for one in given if one in CHIPS] or ["rp2040"],
            [int(one) for one in given if one not in CHIPS] or RATES,
        )
    )
