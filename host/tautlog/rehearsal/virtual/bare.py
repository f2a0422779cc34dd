"""A virtual board without pins; see firmware/bare.py.

Serves the laptop through one socket; the rig's is opened, and left alone.
"""

import os
import socket
import sys
import time

TCP, NODELAY = 6, 1
IS_UNFIT = False
ended_by = None
# What the rig's socket speaks.
LINK_CUT = 0x100  # above the rig's input bits: the cable is pulled now
REQUEST = "<BBH"  # outputs, spare, samples wanted
REPLY_BYTES = 6
REPLY = "<HHH"  # inputs, number of edges, samples
EDGE = "<HBBI"  # offset in 1/64 sample, input bit, closed, spare
EDGE_BYTES = 8


class Setup:
    """What run.py says of this run."""

    rig_port = link_port = 0
    speed = 1.0
    serial = ""
    chip = "RP2040"


def wall_us():
    """Microseconds of a clock that only goes forward."""
    if hasattr(time, "monotonic_ns"):
        return time.monotonic_ns() // 1000
    return time.time_ns() // 1000


def is_kept_out(strap):
    """Never: a virtual board has no prompt."""
    return False


def release_pins(config):
    """There are none."""


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


class Bare:
    """Link and name of a simulated board, as `Setup` says."""

    regulator = ""

    def __init__(self):
        self._listener = socket.socket()
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._listener.bind(address(Setup.link_port))
        self._listener.listen(1)
        self._listener.setblocking(False)
        self._rig = undelayed(socket.socket())
        self._rig.connect(address(Setup.rig_port))
        self._laptop = None
        self._received = b""
        self._taken = 0

    def name(self):
        """What this is, which interpreter runs it, and which chip it passes for."""
        version = ".".join([str(part) for part in sys.implementation.version[:3]])
        kind = {"micropython": "MicroPython", "cpython": "CPython"}[sys.implementation.name]
        return "virtual board under %s %s, as an %s" % (kind, version, Setup.chip)

    def serial(self):
        """Unique number of the board."""
        return Setup.serial

    def poll(self, may_rest):
        """Look whether a laptop comes."""
        self._take_laptop()
        time.sleep(0.0002)

    def reset_to_prompt(self):
        """End: a virtual board has no prompt."""
        raise SystemExit(0)

    def close(self):
        """Close every connection."""
        for connection in (self._laptop, self._rig, self._listener):
            if connection is not None:
                connection.close()

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
        """The laptop has said something."""

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

    def random_bytes(self, count):
        """Bytes that nobody can guess."""
        return os.urandom(count)
