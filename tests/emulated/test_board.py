"""The board module with a real MicroPython image on an emulated RP2040 or RP2350.

Emulated time is not real time: no flash wait states, an ideal host. What is measured
here are lower bounds. Each test says what it costs on a slow computer.
"""

import ast
import inspect
import json
import random
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
from fakes.crew import SilentCrew

from emulated.bench import march_of
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.drop.granting import permitted
from tautlog.drop.recovery import recover
from tautlog.drop.run import DropPlan, run_drop
from tautlog.errors import LinkError
from tautlog.firmware.wire import put_values
from tautlog.record import open_record
from tautlog.rehearsal.scene import default_scene

pytestmark = pytest.mark.timeout(1800)
CHANNELS = {1: ("force",), 3: ("force", "second", "excitation")}

BEGIN = """
import board, config, gc, time
from array import array
from history import History
v = len(config.CHANNELS) * config.SAMPLES_PER_BLOCK
b = board.Board(config)
bits = board.wire.bits_for(config.REDUCTION, config.CONVERTER_BITS)
memory = b.memory(board.wire.block_frame_bytes(v, bits) * config.HISTORY_BLOCKS)
h = History(config.HISTORY_BLOCKS, v, bits, memory)
b.start(h)
"""
RAMP = """
while h.head < %d:
    time.sleep_ms(2)
h.freeze()
b._sampler.stop()
bad = checked = 0
C, R = len(config.CHANNELS), config.REDUCTION
for k in range(h.oldest, h.head):
    frame = h.frames[k %% h.slots]
    for s in range(0, v, C * 37):
        first = (k * config.SAMPLES_PER_BLOCK + s // C) * R * C
        for c in range(C):
            e = 0
            for r in range(R):
                e += (first + c + r * C) & 0xFFF
            checked += 1
            bad += board.wire.value_at(frame, s + c, bits) != e
print(checked, bad, h.lost_total, sum(h.flags), b._sampler.faults)
"""


@pytest.mark.parametrize(
    ("reduction", "channels", "blocks"),
    [
        (1, 1, 8),  # 500 kS/s unreduced
        pytest.param(8, 1, 4, marks=pytest.mark.long),
        pytest.param(4, 3, 4, marks=pytest.mark.long),
        pytest.param(16, 1, 3, marks=pytest.mark.long),
    ],
)
def test_no_conversion_is_lost_at_full_rate(emulated, reduction, channels, blocks):
    """The converter counts up at 500 kS/s; every sample is the sum that it must be (30 s)."""
    board = emulated(
        "ramp",
        entry=False,
        REDUCTION=reduction,
        CHANNELS=CHANNELS[channels],
        PIN_CONVERTER=(26, 27, 28)[:channels],
        SAMPLES_PER_BLOCK=1024 if channels == 1 else 256,
        WATCHDOG_MS=0,
    )
    said = board.run(BEGIN + RAMP % blocks)
    checked, bad, lost, flags, faults = (int(word) for word in said.split())
    assert checked > 50
    assert (bad, lost, flags, faults) == (0, 0, 0, 0)


EDGES = """
places = []
print('shaking')
while len(places) < %d:
    while b.next_edge():
        places.append((b.edge_input, b.edge_closed, b.edge_block, b.edge_offset))
    b.poll(True)
b.close()
print(places)
"""


def test_edges_of_the_switch_are_placed_to_the_sample(emulated):
    """100 edges at random: within two samples of 16 us (40 s)."""
    board = emulated("level", entry=False, WATCHDOG_MS=0)
    board.run(BEGIN)
    board.tell(shake=10, edges=100)
    said = board.run(EDGES % 100)
    places = json.loads(said.split("shaking")[1].strip().replace("(", "[").replace(")", "]"))
    true = [one for one in board.lines if "conversion" in one]
    assert len(places) == len(true) == 100
    errors = []
    for (_, closed, block, offset), one in zip(places, true, strict=True):
        assert closed == 1 - one["level"]
        errors.append(block * 1024 + offset - one["conversion"] / 8)
    assert max(abs(error) for error in errors) <= 2.0


TWINS = f"""
import os, wire
from wire import PLAIN_BITS, SAMPLES_AT, u16
{inspect.getsource(put_values)}
"""
TWINS += """
from array import array
from hardware import loops_thumb, loops_viper
from hardware.crc import _words
bad = 0
cases = ((1, 1, 0), (4, 1, 0), (16, 1, 0), (8, 3, 0), (2, 1, 1), (16, 1, 4))
for reduction, channels, shift in cases:
    source = array('H', os.urandom(2 * 64 * reduction * channels))
    for i in range(len(source)):
        source[i] &= 0xFFFF if shift else 0xFFF
    twins = []
    for loops in (loops_thumb, loops_viper):
        target = array('H', [0] * 64 * channels)
        about = [reduction, 2 * channels, 2 * channels, 0xFFFF, 0, (1 << shift) >> 1, shift]
        about = array('I', about)
        loops.reduce(source, target, 64, about)
        twins.append((bytes(target), list(about)))
    bad += twins[0] != twins[1]
for pairs in (1, 2, 64):
    source = array('H', os.urandom(4 * pairs))
    for i in range(len(source)):
        source[i] &= 0xFFF
    frame = bytearray(wire.block_frame_bytes(2 * pairs, 12))
    put_values(frame, bytes(source), 12)
    plain = bytes(frame)[wire.SAMPLES_AT:-4], [8, 2, 2, min(source), max(source)]
    for loops in (loops_thumb, loops_viper):
        target = bytearray(3 * pairs)
        about = array('I', [8, 2, 2, 0xFFFF, 0])
        loops.pack(source, target, pairs, about)
        bad += (bytes(target), list(about)) != plain
for start, stop in ((0, 0), (0, 1), (3, 128), (1, 640)):
    data = os.urandom(640)
    twins = []
    for loops in (loops_thumb, loops_viper):
        words = _words()
        loops.check(words, data, start, stop)
        twins.append(words[0])
    bad += twins[0] != twins[1]
print(bad)
"""


def test_the_inner_loops_are_twins(emulated, image):
    """Assembly and viper of the inner loops, and plain Python of packing, at random (20 s)."""
    if march_of(image) == "rv32imc":
        pytest.skip("RISC-V has no Thumb assembly")
    assert emulated("level", entry=False, WATCHDOG_MS=0).run(TWINS).split()[-1] == "0"


MEMORY = """
import board, config, gc, sys, uctypes
top = uctypes.addressof(board._KEPT)
end = top + len(board._KEPT) + len(board._RAW)
print((config.HISTORY_BLOCKS, top, end, gc.mem_alloc() + gc.mem_free()))
board = sys.modules.pop('board') and None
gc.collect()
"""
HISTORY_S = {"RPI_PICO": 1.05, "RPI_PICO2": 2.05, "RPI_PICO2-RISCV": 2.05}
# Of the images of MicroPython 1.28.0, by their linker's maps (__GcHeapEnd).
HEAP_END = {"RPI_PICO": 0x20040000, "RPI_PICO2": 0x2007F000, "RPI_PICO2-RISCV": 0x2007F000}


def test_the_memory_for_samples_ends_where_the_heap_ends(emulated, image):
    """Also the second time: the history follows from the heap, and does not grow (40 s)."""
    board = emulated("level", entry=False, WATCHDOG_MS=0)
    first, second = (ast.literal_eval(board.run(MEMORY).strip()) for _ in range(2))
    assert first == second
    blocks, top, end, heap = first
    assert 0 < HEAP_END[image.stem] - end <= 256
    assert end - top < heap * 5 // 8
    assert blocks * 1024 / 62500 > HISTORY_S[image.stem]


DRIVE = """
import wire
b.output(wire.OUTPUT_DRIVE | wire.OUTPUT_LAMP)
print('driven')
time.sleep_ms(%d)
print(b._drive())
b.close()
"""


@pytest.mark.parametrize(("by", "within_ms"), [("key", 5.0), ("timer", 42.0)])
def test_the_drive_goes_low_by_itself(emulated, by, within_ms):
    """While the main loop sleeps: in the key's interrupt, and at the end of the pulse (30 s)."""
    board = emulated("level", entry=False, WATCHDOG_MS=0, RELEASE_PULSE_MS=40)
    board.run(BEGIN)
    after = len(board.lines)
    if by == "key":
        board.tell(shake=11, edges=1)  # within 3 ms of now
        board.wait(lambda line: line.get("pin") == 11, after=after)
        board.tell(pin=11, level=0)
        after = len(board.lines)
    said = []
    import threading

    running = threading.Thread(target=lambda: said.append(board.run(DRIVE % 300)))
    running.start()
    up = board.wait(lambda line: line.get("pin") == 12 and line["level"] == 1, after=after)
    opened_s = up["t"]
    if by == "key":
        board.tell(pin=11, level=1)
        opened_s = board.wait(
            lambda line: line.get("pin") == 11 and line["level"] == 1, after=after
        )["t"]
    down = board.wait(
        lambda line: line.get("pin") == 12 and line["level"] == 0 and line["t"] > up["t"],
        after=after,
    )
    running.join()
    assert (down["t"] - opened_s) * 1000 <= within_ms
    assert said[0].split() == ["driven", "0"]


FLASH = """
b.arm_flash()
b.output(wire.OUTPUT_LAMP)
seen = []
print('watching')
while len(seen) < 7:
    while b.next_edge():
        seen.append((b.edge_input, b.edge_closed, b.edge_us))
    b.poll(True)
b.output(wire.OUTPUT_LAMP | wire.OUTPUT_BEAT)
b.light_flash()
while not b.next_edge():
    pass
seen.append((b.edge_input, b.edge_closed, b.edge_us))
b.output(0)
b.close()
print(seen)
"""


def test_the_flash_is_lit_by_the_edge_in_hardware(emulated, image):
    """A knock, then a release: lit within 100 us of each, out and on as the rule says (40 s)."""
    if march_of(image) != "armv6m":
        pytest.skip("the emulated RP2350 runs ahead of whoever moves its contacts one by one")
    board = emulated("level", entry=False, WATCHDOG_MS=0)
    board.run(BEGIN + "import wire\n")
    said = []
    running = threading.Thread(target=lambda: said.append(board.run(FLASH, 800)))
    after = len(board.lines)
    running.start()
    board.wait(lambda line: line.get("pin") == 14 and line["level"] == 1, after=after)
    for switch, flash in ((1, 1), (0, 0), (1, 1)):
        at = len(board.lines)
        board.tell(pin=10, level=switch)
        board.wait(lambda line, lit=flash: line.get("pin") == 17 and line["level"] == lit, after=at)
    running.join()
    lines = [one for one in board.lines[after:] if one.get("pin") in (10, 17)]
    moved = [(one["pin"], one["level"]) for one in lines]
    release = [(10, 1), (17, 1), (17, 0)]
    assert moved == [(10, 1), (17, 1), (10, 0), (17, 0), *release, (17, 1), (17, 0)]
    at_s = [one["t"] for one in lines]
    for opened, lit in ((0, 1), (4, 5)):
        assert 0.0 < at_s[lit] - at_s[opened] < 100e-6
    assert at_s[3] - at_s[2] == pytest.approx(3e-3, rel=0.01)  # longer closed than a bounce
    # The emulator writes off arrears of a state machine: its loops are a little long.
    assert at_s[6] - at_s[5] == pytest.approx(50e-3, rel=0.05)
    # What the board stamped: the flash's own pin, read back.
    edges = ast.literal_eval(said[0].split("watching")[1].strip())
    # Each input's edges are fetched in their order; which input is asked first is of no meaning.
    edges.sort(key=lambda edge: edge[2])
    assert [one[:2] for one in edges] == [
        *((1, 0), (16, 0), (1, 1), (16, 1), (1, 0), (16, 0), (16, 1)),
        (16, 0),
    ]
    stamps_us = [one[2] for one in edges]
    for opened, lit in ((0, 1), (4, 5)):
        assert 0 <= stamps_us[lit] - stamps_us[opened] <= 100
    assert stamps_us[6] - stamps_us[5] == pytest.approx(1e6 * (at_s[6] - at_s[5]), abs=5.0)


BEAT = """
from machine import disable_irq, enable_irq
b.arm_flash()
for _ in range(20):
    b.output(wire.OUTPUT_LAMP | wire.OUTPUT_BEAT)
    time.sleep_ms(10)
state = disable_irq()
b._outputs[0][1](0)  # the lamp, as a mark of the time
at = time.ticks_us()
while time.ticks_diff(time.ticks_us(), at) < 300000:
    pass
b._outputs[0][1](1)
enable_irq(state)
b.output(wire.OUTPUT_LAMP | wire.OUTPUT_BEAT)
time.sleep_ms(30)
b.output(0)
time.sleep_ms(30)
b.close()
"""


def test_the_heartbeat_ends_by_itself(emulated):
    """At 1 kHz while it is renewed; low within 100 ms of the last time, interrupts off (40 s)."""
    board = emulated("level", entry=False, WATCHDOG_MS=0)
    board.run(BEGIN + "import wire\n")
    board.run(BEAT)
    board.now_s()  # what the pins did until then has been told
    lamp = board.changes(14)
    lamp = lamp[[level for _, level in lamp].index(1) :]  # not every emulator tells the first low
    held_s, free_s, off_s = [t for t, _ in lamp][1:4]
    at = len(board.lines)
    board.tell(beats=1)
    beats = [tuple(one) for one in board.wait(lambda line: "beats" in line, after=at)["beats"]]
    beats = beats[next(place for place, (_, level) in enumerate(beats) if level) :]
    first = [(t, level) for t, level in beats if t < held_s]
    ups = [t for t, level in first if level]
    assert np.median(np.diff(ups)) == pytest.approx(1e-3, rel=1e-3)
    assert max(np.diff(ups)) < 1.1e-3  # from burst to burst without a pause
    left = [(t, level) for t, level in beats if held_s <= t < free_s]
    assert 0.0 < left[-1][0] - held_s < 0.1
    assert left[-1][1] == 0
    again = [(t, level) for t, level in beats if t >= free_s]
    assert any(level for _, level in again)
    assert again[-1][1] == 0
    assert again[-1][0] < off_s + 1e-3


def tautlog(*arguments, timeout_s=1500):
    done = subprocess.run(
        [sys.executable, "-m", "tautlog", *arguments],
        capture_output=True,
        text=True,
        timeout=timeout_s,
    )
    assert "Traceback" not in done.stderr
    return done


def drop_until_killed(board, link, out, after_s):
    """Begin a drop and kill the laptop's side so long after the release; when it was released."""
    laptop = subprocess.Popen(
        [
            *(sys.executable, "-m", "tautlog", "drop", *link, "--yes", "--countdown", "0"),
            *("--mass", "9", "--height", "1.2", "--target", "1800", "--out", str(out)),
        ]
    )
    released = board.wait(lambda line: line.get("pin") == 17 and line["level"] == 1, 600)
    while board.now_s() < released["t"] + after_s:
        time.sleep(0.1)
    laptop.kill()
    laptop.wait()
    return released["t"]


@pytest.mark.long
def test_from_a_blank_board_to_a_verdict(emulated, tmp_path):
    """Install, install again, drop: as a new user does.

    Eleven minutes of processor time on an emulated RP2040, so that a busy machine takes twenty.
    """
    board = emulated("rig", files=False)
    link = ("--port", board.port, "--link-timeout", "40")
    first = tautlog("install", *link)
    assert first.returncode == 0, first.stderr
    assert "0 were up to date" in first.stdout
    done = tautlog(
        *("drop", *link, "--yes", "--countdown", "0", "--record", "1.5", "--json"),
        *("--mass", "9", "--height", "1.2", "--target", "1800", "--out", str(tmp_path / "out")),
    )
    assert done.returncode == 0, done.stderr
    marks = json.loads(done.stdout)["marks"]
    # The rig's calibration is 979 N/V, the default that is used here 1000 N/V.
    assert marks["peak_force_n"] == pytest.approx(1890.0 * 1000 / 979, rel=2e-3)
    assert marks["missing_samples"] == 0
    assert marks["fall_time_s"] == pytest.approx(0.5049, abs=1e-3)
    drive = board.changes(12)
    highs = [t for t, level in drive if level == 1]
    assert len(highs) == 1
    again = tautlog("install", *link)
    assert again.returncode == 0, again.stderr
    assert "0 files written" in again.stdout


@pytest.mark.long
def test_a_watchdog_reset_in_a_recording_loses_nothing(emulated, tmp_path):
    """The laptop dies, the converter stops, the watchdog bites: the event comes home (5 min)."""
    board = emulated("rig", WATCHDOG_MS=1000)
    link = ("--port", board.port, "--link-timeout", "40")
    out = tmp_path / "out"
    released_s = drop_until_killed(board, link, out, 0.8)
    after = len(board.lines)
    board.tell(stall=1)
    board.wait(lambda line: line.get("pin") == 12, 600, after)  # the pins of a new life
    board.tell(stall=0)
    done = tautlog("recover", *link, "--out", str(out), "--json")
    assert done.returncode == 0, done.stderr
    marks = json.loads(done.stdout)["marks"]
    assert marks["missing_samples"] == 0
    assert marks["peak_force_n"] == pytest.approx(1890.0 * 1000 / 979, rel=2e-3)
    assert not any(level for t, level in board.changes(12) if t > released_s + 0.1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(5))
def test_the_cable_comes_out_at_any_moment(emulated, tmp_path, seed):
    """The port is gone between the release and the end of the window: all comes home (3 min)."""
    cut_s = random.Random(seed).uniform(0.0, 0.9)
    board = emulated("rig")
    link = ("--port", board.port, "--link-timeout", "40")
    out = tmp_path / "out"
    released_s = drop_until_killed(board, link, out, cut_s)
    board.tell(dtr=0)
    while board.now_s() < released_s + 4.0:  # longer than the board waits for a sign of life
        time.sleep(0.5)
    board.tell(dtr=1)
    done = tautlog("recover", *link, "--out", str(out), "--json")
    assert done.returncode == 0, done.stderr
    marks = json.loads(done.stdout)["marks"]
    assert marks["missing_samples"] == 0
    assert marks["peak_force_n"] == pytest.approx(1890.0 * 1000 / 979, rel=2e-3)
    after_s = marks["samples"] / marks["sample_rate_hz"] - marks["release_time_s"]
    assert after_s >= 1.0
    assert marks["release_time_s"] >= 0.05


@pytest.mark.long
def test_an_interrupted_install_leaves_the_prompt_and_can_be_repeated(emulated):
    """Killed between two files: no main.py, so no firmware; installing again mends it (3 min)."""
    board = emulated("rig", files=False)
    link = ("--port", board.port, "--link-timeout", "40")
    first = subprocess.Popen(
        [sys.executable, "-m", "tautlog", "install", *link],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    for line in first.stderr:
        if " of " in line and line.split()[0] == "6":
            break
    first.kill()
    first.wait()
    first.stderr.close()
    said = board.run("import os\nprint('main.py' in os.listdir(), 'board.mpy' in os.listdir())")
    assert said.split() == ["False", "True"]
    assert not any(level for _, level in board.changes(12))
    again = tautlog("install", *link)
    assert again.returncode == 0, again.stderr
    assert "0 were up to date" not in again.stdout


class DeafLink(SerialLink):
    """A laptop that goes on speaking and stops reading for a while of the board's time."""

    deaf_from_s = float("inf")

    def __init__(self, board, deaf_s):
        super().__init__(board.port)
        self._board, self._deaf_s = board, deaf_s

    def read(self):
        since_s = self._board.now_s() - self.deaf_from_s
        if 0.0 <= since_s < self._deaf_s:
            time.sleep(0.05)
            return b""
        return super().read()


@pytest.mark.long
def test_a_laptop_that_does_not_read_for_three_seconds(emulated, tmp_path):
    """While the sled is let go, falls and bounces: the guarded window is whole (4 min)."""
    board = emulated("rig")
    scene = default_scene()
    plan = DropPlan(
        path=tmp_path / "drop.h5",
        permit=permitted(None, scene.setup, calibration=scene.calibration, say=lambda text: None),
        countdown_s=0.0,
        record_s=1.5,
    )
    with DeafLink(board, 3.0) as link:

        def go_deaf():
            link.deaf_from_s = board.now_s() + 0.3

        try:
            run_drop(Session(link, timeout_scale=40.0), plan, SilentCrew(armed=go_deaf))
        except LinkError:
            link.deaf_from_s = float("inf")
            recover(Session(link, timeout_scale=40.0), plan.path)
    marks = told_of(assess(open_record(plan.path), cfc=180))
    release = marks["release_time_s"]
    assert release is not None
    trace = open_record(plan.path).trace()
    first = int((release - 0.05) * trace.sample_rate_hz)
    last = first + int(1.05 * trace.sample_rate_hz)
    assert 0 <= first < last <= trace.force_n.size
    assert np.isfinite(trace.force_n[first:last]).all()
    assert marks["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)
