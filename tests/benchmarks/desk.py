"""The desk: first view of a large campaign, reception beside it, and samples to the screen.

    python tests/benchmarks/desk.py

The samples are those of a board at 62 500 samples/s, given out at its pace; the screen is headless
Chromium, which runs beside everything else on the same processors.
"""

import asyncio
import contextlib
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
sys.path.insert(0, str(Path(__file__).parent))

import archive
import numpy as np
import receiver
from browser import Browser, is_there
from desks import Visit, campaign_in
from measured import Measured, show

from tautlog.desk.desk import Desk
from tautlog.desk.drop_order import KIND
from tautlog.desk.drop_stands import DropStands, Phase
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.feed import Feed
from tautlog.desk.orders import Standing
from tautlog.desk.server import crew_entrance, serving
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, Instrument
from tautlog.model.trace import DropSetup

BOARD = Instrument("0", "bench", "bench", 62_500.0, 8, ("force",), 1024, 60)
STREAM_S = 6.0
LOOK_AT = """
(() => { const place = document.getElementById('trace'); window.drawn = [];
  new MutationObserver(() => window.drawn.push([Number(place.dataset.until), Date.now()]))
    .observe(place, {attributes: true, attributeFilter: ['data-until']}); })()
"""


def figures(records=1000, megabytes=100):
    """First view, reception, screen."""
    with tempfile.TemporaryDirectory() as name:
        yield _first_view(Path(name) / "large", records)
        yield _reception(Path(name), megabytes)
        if is_there():
            yield _to_screen(Path(name))


def _first_view(folder, records):
    campaign_in(folder)
    for number in range(records):
        archive.make_one(folder / f"drop_{number:05d}.h5", number)
    visit = Visit(folder)
    visit.get("/")  # fills the catalogue, as any command does
    took = []
    for _ in range(5):
        start = time.perf_counter()
        assert visit.get("/").status_code == 200
        took.append(time.perf_counter() - start)
    return Measured(
        f"first view of the desk, {records} records",
        f"{statistics.median(took):.2f} s",
        f"least {min(took):.2f} s, most {max(took):.2f} s of five",
    )


class _Shown:
    """Blocks go to the desk's trace as a crew hands them on."""

    def __init__(self, trace):
        self.block = trace.take


def _reception(folder, megabytes):
    blocks = megabytes * 1_000_000 // receiver.BLOCK_BYTES
    ratios = []
    for turn in range(5):  # by turns: these machines are noisy
        without_s, _ = receiver.frames_to_record(folder / f"without{turn}.h5", blocks)
        feed = Feed()
        loop, reader = asyncio.new_event_loop(), feed.listen()
        loop.run_until_complete(anext(reader))  # a page that reads nothing
        trace = DropTrace(feed)
        trace.begin(receiver.BOARD, Calibration())
        beside_s, _ = receiver.frames_to_record(folder / f"beside{turn}.h5", blocks, _Shown(trace))
        trace.end()
        loop.run_until_complete(reader.aclose())
        loop.close()
        ratios.append(without_s / beside_s)
    return Measured(
        "reception with the desk open and a page that reads nothing",
        f"{statistics.median(ratios):.2f}",
        f"of that without a desk, as fast as frames can be read; {len(ratios)} turns",
    )


def _to_screen(folder):
    campaign_in(folder / "kite")
    desk, entrance = Desk(folder / "kite"), crew_entrance(0)
    desk.orders._standing = Standing(
        KIND, "nobody", content=DropStands(Phase.RELEASED, DropSetup(target_n=1800.0))
    )
    with contextlib.closing(Browser(folder / "profile")) as browser, serving(desk, [entrance]):
        page = browser.page(1366, 768)
        page.open(entrance.link)
        page.until("location.pathname === '/'")
        page.open(entrance.link.split("/enter")[0] + "/drop")
        page.ask(LOOK_AT)
        taken = _stream(desk.trace)
        page.until(f"window.drawn.length > 0 && window.drawn.at(-1)[0] > {taken[-1][0] - 0.03}")
        drawn = page.ask("window.drawn")
    late_ms = []
    for until_s, now_ms in drawn:
        came = [at for end_s, at in taken if end_s <= until_s + 2e-5]
        if came and until_s > taken[len(taken) // 4][0]:
            late_ms.append(now_ms - 1e3 * came[-1])
    late_ms.sort()
    return Measured(
        "samples from the receiver to the screen",
        f"median {statistics.median(late_ms):.0f} ms",
        f"95 % within {late_ms[int(0.95 * len(late_ms))]:.0f} ms, {len(late_ms)} pictures drawn, "
        f"{max(late_ms):.0f} ms at most; headless Chromium on the same processors",
    )


def _stream(trace):
    """Give out blocks at the board's pace; the end of each on its clock, and when it came."""
    trace.begin(BOARD, Calibration())
    block_s, taken = BOARD.samples_per_block / BOARD.sample_rate_hz, []
    rng, start, pace = np.random.default_rng(1), time.time(), threading.Event()
    for number in range(int(STREAM_S / block_s)):
        pace.wait(max(0.0, start + (number + 1) * block_s - time.time()))
        counts = rng.integers(4000, 4400, (BOARD.samples_per_block, 1)).astype(np.uint16)
        trace.take(Block(number, 0, 0, 0, counts))
        taken.append(((number + 1) * block_s - 1.0 / BOARD.sample_rate_hz, time.time()))
    trace.end()
    return taken


if __name__ == "__main__":
    show(figures())
