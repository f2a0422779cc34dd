"""A board whose converter and pins are wired to a simulated rig.

Stands in for firmware/board.py, with the same methods. Samples and pin levels
come from the rig through one socket, a step of a millisecond at a time; the
laptop is served through another. Time is counted in samples, so it may run
faster than the clock on the wall. It waits for a laptop that is connected and
alive, and for nobody else.
"""

import gc
import os
import socket
import struct
import sys
import time
from array import array

TICKS_PERIOD_US = 1 << 30
STEP_SAMPLES = 64
# Simulated time runs ahead of the laptop's last word by this much and no more,
# unless the laptop has been silent on the wall's clock too.
AHEAD_US = 600000
SILENT_WALL_US = 1500000
LINK_CUT = 0x80  # in the rig's input bits: the cable is pulled now
REQUEST = "<BBH"  # outputs, spare, samples wanted
REPLY = "<BBH"  # inputs, number of edges, samples
EDGE = "<HBBI"  # offset in 1/64 sample, input bit, closed, spare
EDGE_BYTES = 8
TCP, NODELAY = 6, 1


def wall_us():
    """Microseconds of a clock that only goes forward."""
    if hasattr(time, "monotonic_ns"):
        return time.monotonic_ns() // 1000
    return time.time_ns() // 1000


def is_kept_out():
    """Never: a virtual board has no prompt."""
    return False


def address(port):
    """Loopback address in the form that both interpreters take."""
    return socket.getaddrinfo("127.0.0.1", port)[0][-1]


def undelayed(connection):
    """Send small pieces at once where the interpreter can say so."""
    try:
        connection.setsockopt(TCP, NODELAY, 1)
    except (OSError, AttributeError):
        pass
    return connection


class Board:
    """One simulated board; see firmware/board.py for what each method promises.

    Parameters
    ----------
    config : object
        As the firmware's config, with RIG_PORT, LINK_PORT, SPEED and SERIAL.
    """

    def __init__(self, config):
        import wire  # the firmware's, which only the firmware's process has

        self.check = wire.Check()
        self.rest_us = 0  # of no meaning here
        self._channels = len(config.CHANNELS)
        self._rate_hz = config.CONVERSION_RATE_HZ / (config.REDUCTION * self._channels)
        self._per_block = config.SAMPLES_PER_BLOCK
        self._speed = config.SPEED
        self._serial = config.SERIAL
        self._listener = socket.socket()
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._listener.bind(address(config.LINK_PORT))
        self._listener.listen(1)
        self._listener.setblocking(False)
        self._rig = undelayed(socket.socket())
        self._rig.connect(address(config.RIG_PORT))
        self._laptop = None
        self._received = b""
        self._taken = 0
        self._samples = 0  # since power-up, the board's clock
        self._partial = bytearray(2 * self._per_block * self._channels)
        self._filled = 0
        self._inputs = 0
        self._outputs = 0
        self._edges = []
        self._history = None
        self._due_us = wall_us()
        self._heard_at = 0
        self._heard_wall_us = 0
        self.edge_input = self.edge_closed = 0
        self.edge_block = self.edge_offset = self.edge_us = 0

    def name(self):
        """What this is, and which interpreter runs it."""
        version = ".".join([str(part) for part in sys.implementation.version[:3]])
        kind = {"micropython": "MicroPython", "cpython": "CPython"}[sys.implementation.name]
        return "virtual board under %s %s" % (kind, version)

    def free_bytes(self):
        """Memory that is left; nobody knows it under CPython."""
        return gc.mem_free() if hasattr(gc, "mem_free") else None

    def serial(self):
        """Unique number of the board."""
        return self._serial

    def random_bytes(self, count):
        """Bytes that nobody can guess."""
        return os.urandom(count)

    def memory(self, count):
        """Memory for the samples, zeroed."""
        return bytearray(count)

    def start(self, history):
        """Sample into `history` from now on."""
        self._history = history

    def reset_to_prompt(self):
        """End: a virtual board has no prompt."""
        raise SystemExit(0)

    def set_quiet(self, quiet):
        """Nothing may be allocated while quiet: of no matter here."""

    def close(self):
        """All outputs low, sampling stopped."""
        self._outputs = 0
        for one in (self._laptop, self._rig, self._listener):
            if one is not None:
                one.close()

    # Time and samples

    def ticks_us(self):
        """Board clock, microseconds modulo 2**30."""
        return self._stamp_us(0)

    def _stamp_us(self, offset):
        return int((self._samples + offset) * 1000000 / self._rate_hz) % TICKS_PERIOD_US

    def poll(self, may_rest):
        """Let a step of time pass if it is due."""
        now_us = wall_us()
        self._take_laptop()
        if now_us < self._due_us or self._must_wait(now_us):
            time.sleep(0.0002)
            return
        step_us = STEP_SAMPLES * 1000000 / (self._rate_hz * self._speed)
        # A process that was held up does not make up for it in a burst.
        self._due_us = max(self._due_us + step_us, now_us - 20000)
        self._step()

    def _must_wait(self, now_us):
        if self._laptop is None or now_us - self._heard_wall_us > SILENT_WALL_US:
            return False
        return (self._samples - self._heard_at) * 1000000 / self._rate_hz > AHEAD_US

    def _step(self):
        self._rig.send(struct.pack(REQUEST, self._outputs, 0, STEP_SAMPLES))
        inputs, edges, samples = struct.unpack(REPLY, self._read_rig(4))
        for _ in range(edges):
            self._note_edge(self._read_rig(EDGE_BYTES))
        if inputs & LINK_CUT:
            self._drop_laptop()
        self._inputs = inputs & ~LINK_CUT
        data = self._read_rig(2 * samples * self._channels)
        taken = 0
        while taken < len(data):
            count = min(len(data) - taken, len(self._partial) - self._filled)
            self._partial[self._filled : self._filled + count] = data[taken : taken + count]
            self._filled += count
            taken += count
            if self._filled == len(self._partial):
                self._complete_block(taken // (2 * self._channels))
        self._samples += samples

    def _complete_block(self, offset):
        self._filled = 0
        slot = self._history.claim()
        if slot < 0:
            return
        self._history.samples(slot)[:] = self._partial
        values = array("H", bytes(self._partial))
        first = values[:: self._channels] if self._channels > 1 else values
        self._history.commit(self._stamp_us(offset), 0, 0, min(first), max(first))

    def _read_rig(self, count):
        data = b""
        while len(data) < count:
            more = self._rig.recv(count - len(data))
            if not more:
                raise SystemExit(0)  # the rehearsal is over
            data += more
        return data

    # Pins

    def inputs(self):
        """Input bits, see wire.INPUT_*."""
        return self._inputs

    def output(self, bits):
        """Set all outputs, see wire.OUTPUT_*."""
        self._outputs = bits

    def _note_edge(self, packed):
        offset_64, bit, closed, _ = struct.unpack(EDGE, packed)
        at = self._filled // (2 * self._channels) + (offset_64 + 32) // 64
        block = self._history.head + at // self._per_block
        stamp_us = self._stamp_us(offset_64 / 64)
        self._edges.append((bit, closed, block, at % self._per_block, stamp_us))

    def next_edge(self):
        """Fetch the next edge of an input into the edge_* attributes; False if none."""
        if not self._edges:
            return False
        one = self._edges.pop(0)
        self.edge_input, self.edge_closed, self.edge_block = one[0], one[1], one[2]
        self.edge_offset, self.edge_us = one[3], one[4]
        return True

    # Link

    def _take_laptop(self):
        try:
            connection = self._listener.accept()[0]
        except OSError:
            return
        self._drop_laptop()
        connection.setblocking(False)
        self._laptop = undelayed(connection)
        self._heard()

    def _drop_laptop(self):
        if self._laptop is not None:
            self._laptop.close()
        self._laptop = None
        self._received = b""
        self._taken = 0

    def _heard(self):
        self._heard_at = self._samples
        self._heard_wall_us = wall_us()

    def read_byte(self):
        """Next byte from the laptop, or -1."""
        if self._taken == len(self._received):
            self._received = self._receive()
            self._taken = 0
            if not self._received:
                return -1
            self._heard()
        self._taken += 1
        return self._received[self._taken - 1]

    def _receive(self):
        if self._laptop is None:
            return b""
        try:
            data = self._laptop.recv(256)
        except OSError as problem:
            if problem.args[0] not in (11, 35):  # EAGAIN, on Linux and macOS
                self._drop_laptop()
            return b""
        if not data:
            self._drop_laptop()
        return data

    def write(self, view, start, end):
        """Send view[start:end]; the number of bytes taken, maybe none.

        With nobody connected all is taken and lost, as on a real USB port.
        """
        if self._laptop is None:
            return end - start
        try:
            return self._laptop.send(view[start:end])
        except OSError as problem:
            if problem.args[0] in (11, 35):
                return 0
            self._drop_laptop()
            return end - start
