"""Under MicroPython: a drop from armed to held in which nothing may be allocated."""

import sys

import micropython

sys.path.insert(0, sys.argv[1])

import config
import wire
from hardware.crc import Check
from instrument import Instrument

config.SAMPLES_PER_BLOCK = 128
config.RELEASE_BOUNCE_MS = 3
config.GUARD_AFTER_S = 0.06
config.HISTORY_BLOCKS = 58
config.READBACKS = (("gate", 3), ("pin", 4))
BLOCK_US = 128 * 16


class LockedBoard:
    """Allocates nothing between `set_quiet(True)` and `set_quiet(False)`."""

    regulator = ""

    def __init__(self):
        self.check = Check()
        self.now_us = 0
        self.closed = 63
        self.incoming = bytearray(512)
        self.taken = self.given = 0
        self.sent = 0
        self.locked = False
        self.edge_waits = 0
        self.was_off = False
        self.edge_input = self.edge_closed = 0
        self.edge_block = self.edge_offset = self.edge_us = self.first_us = 0

    def memory(self, count):
        return bytearray(count)

    def start(self, history):
        self.history = history

    def set_quiet(self, quiet):
        self.locked = quiet

    def random_bytes(self, count):
        return b"\x05" * count

    def poll(self, may_rest):
        pass

    def ticks_us(self):
        return self.now_us

    def inputs(self):
        return self.closed

    def output(self, bits):
        self.bits = bits

    def next_edge(self):
        if not self.edge_waits:
            return False
        # A knock, and then the release with a bounce, all within one late step.
        at = 5 - self.edge_waits
        self.edge_waits -= 1
        self.edge_input = wire.INPUT_LATCHED
        self.edge_closed = at % 2
        self.edge_us = self.first_us + (0, 100, 9000, 9500, 10000)[at]
        return True

    def lost_edges(self):
        return 0

    def arm_flash(self):
        pass

    def light_flash(self):
        pass

    def watch_key(self):
        self.was_off = False

    def key_was_off(self):
        return self.was_off

    def read_byte(self):
        if self.taken == self.given:
            self.taken = self.given = 0
            return -1
        self.taken += 1
        return self.incoming[self.taken - 1]

    def write(self, view, start, end):
        count = min(end - start, 900)
        self.sent += count
        return count

    def receive(self, frame):
        for byte in frame:
            self.incoming[self.given] = byte
            self.given += 1

    def pass_block(self):
        self.now_us += BLOCK_US
        slot = self.history.claim()
        if slot >= 0:
            frame = self.history.frames[slot]
            for at in range(wire.SAMPLES_AT, self.history.frame_bytes - 4, 2):
                frame[at], frame[at + 1] = 4490 & 0xFF, 4490 >> 8
            self.history.commit(self.now_us, 0, 0, 4480, 4504)


board = LockedBoard()
instrument = Instrument(board, config)
for _ in range(20):
    board.pass_block()
    instrument.step()
board.receive(wire.frame(wire.ASK, 1, b'{"do":"arm","by":"drive"}'))
while instrument.states.now != wire.ARMED:
    instrument.step()
for _ in range(3):
    board.pass_block()
    instrument.step()
head = instrument.history.head
acks = [
    wire.frame(wire.ACK, n, wire.struct.pack(wire.ACK_BODY, head + n, n % 2)) for n in range(60)
]
ask = wire.frame(wire.ASK, 9, b'{"do":"status"}')
pulse = wire.frame(wire.RELEASE, 3, b"\x05" * 8)
finish = wire.frame(wire.FINISH, 4)
noise = bytes(range(60))
print("armed")
was_recording = False
driven = False
micropython.heap_lock()
for n in range(60):
    board.pass_block()
    board.receive(acks[n])
    if n == 2:
        board.receive(noise)
    if n == 3:
        board.receive(ask)
    if n == 5:
        board.receive(pulse)
    driven = driven or bool(board.bits & wire.OUTPUT_DRIVE)
    if n == 9:
        board.closed = 62
        board.first_us = board.now_us - 10000
        board.edge_block = instrument.history.head
        board.edge_waits = 5
    if n in (20, 22):  # the gate, after the release
        board.closed ^= 16
    if n == 30:
        board.receive(finish)
    instrument.step()
    was_recording = was_recording or instrument.states.now == wire.RECORDING
    if instrument.states.now == wire.HELD:
        break
for _ in range(300):
    board.pass_block()
    instrument.step()
    if instrument.states.now == wire.HELD:
        break
micropython.heap_unlock()
if was_recording and driven and instrument.release.knock_us == board.first_us:
    print("recording")
print(wire.STATES[instrument.states.now])
