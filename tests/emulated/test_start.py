"""The delivered firmware on the emulated chips: it starts, and memory is left."""

import pytest

from emulated.bench import EmulatedBoard, board_files, march_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session

pytestmark = pytest.mark.timeout(3000)
SLOW_S = 1500.0  # of the laptop: the emulator may have to share its processor
LEAST_FREE_BYTES = 12000
LEAST_HOLE_BYTES = 4096
FOUR = (("stop", 2), ("gate", 3), ("pin", 4), ("screen", 5))
TWO = {"CHANNELS": ("force", "excitation"), "PIN_CONVERTER": (26, 27)}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        pytest.param({"READBACKS": FOUR}, marks=pytest.mark.long),
        pytest.param(TWO, marks=pytest.mark.long),
        pytest.param(TWO | {"READBACKS": FOUR}, marks=pytest.mark.long),
    ],
    ids=["delivered", "four readbacks", "two channels", "both"],
)
def test_the_delivered_firmware_starts(image, tmp_path, changes):
    """As it is installed, by main.py and with its watchdog: greets, and has memory left (70 s)."""
    files = board_files(tmp_path / "board", march_of(image), **changes)
    with EmulatedBoard(image, files, "level") as board, SerialLink(board.port) as link:
        session = Session(link, timeout_scale=SLOW_S)
        assert session.greet().refused is None
        told = session.ask("status")
        assert told["faults"] if "faults" in told else told["free_bytes"] >= LEAST_FREE_BYTES


SAVE = """
import gc
import entry as main
board, one = main.build(*main.checked())
print(type(one).__name__, getattr(one, 'text', ''))
gc.collect()
print(gc.mem_free())
hole = bytearray(%d)
del hole
while one.history.head < 20:
    one.step()
one.history.freeze()
one.states.now = %d
one._note_page()
# Full, so that only what was kept for the file is there to open it.
full = []
size = 1024
while size:
    try:
        full.append(bytearray(size))
    except MemoryError:
        size //= 2
del full[-4:], full[:4]
"""
