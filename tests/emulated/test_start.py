"""The delivered firmware on the emulated chips: it starts, and memory is left."""

import pytest

from emulated.bench import EmulatedBoard, board_files, march_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.firmware import wire

pytestmark = pytest.mark.timeout(3000)
PATIENCE = 200.0  # of the laptop: the emulator may have to share its processor
SLOW_S = 1500.0
LEAST_FREE_BYTES = 12000
LEAST_HOLE_BYTES = 4096
FOUR = {"READBACKS": (("stop", 2), ("gate", 3), ("pin", 4), ("screen", 5))}
TWO = {"CHANNELS": ("force", "excitation"), "PIN_CONVERTER": (26, 27)}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        pytest.param(FOUR, marks=pytest.mark.long),
        pytest.param(TWO, marks=pytest.mark.long),
        pytest.param(TWO | FOUR, marks=pytest.mark.long),
    ],
    ids=["delivered", "four readbacks", "two channels", "both"],
)
def test_the_firmware_starts_and_has_memory_left(image, tmp_path, changes):
    """Every file as it is installed, config.py as it is delivered: greeting and status."""
    files = board_files(tmp_path / "board", march_of(image), **changes)
    with EmulatedBoard(image, files, "level") as board, SerialLink(board.port) as link:
        session = Session(link, timeout_scale=PATIENCE)
        instrument = session.greet()  # raises where the firmware did not start
        assert len(instrument.readbacks) == len(changes.get("READBACKS", ()))
        status = session.ask("status")
        assert status["head"] >= 0
        assert status["free_bytes"] >= LEAST_FREE_BYTES


# As main.py starts it. Then every hole of 1 kB is filled: an open file needs more than that, and
# has only what the firmware keeps for it.
SAVE = """
import gc, os
import entry as main
board, one = main.build(*main.checked())
gc.collect()
print(type(one).__name__, getattr(one, 'text', ''), len(bytearray(%d)))
while one.history.head < 4:
    one.step()
board.close()
one.history.freeze()
kept = one.keepsake
kept.note(wire.HELD, wire.FINISHED, 1, 0, 0)
full = None
gc.collect()
try:
    while True:
        full = (full, bytearray(1024))
except MemoryError:
    pass
try:
    print(len(bytearray(1148)))
except MemoryError:
    print('full')
while kept.save_step():
    pass
whole = kept._memory
before = bytes(whole[:64])
whole[:64] = bytes(64)
print(os.stat('event.bin')[6] - len(whole), kept.load(), kept.came_from, whole[:64] == before)
"""


@pytest.mark.long
def test_an_event_is_saved_where_memory_is_full(image, tmp_path):
    """The delivered config.py; the largest hole after the start, then a file in none."""
    files = board_files(tmp_path / "board", march_of(image), WATCHDOG_MS=0)
    (files / "main.py").rename(files / "entry.py")
    with EmulatedBoard(image, files, "level") as board:
        said = board.run(SAVE % LEAST_HOLE_BYTES, SLOW_S).splitlines()
    assert said == [
        f"Instrument  {LEAST_HOLE_BYTES}",
        "full",
        f"4 ({wire.FINISHED}, 1, 0, 0) flash True",
    ]
