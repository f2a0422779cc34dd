"""The USB serial port as a link that never keeps the main loop for long."""

import select
import sys

import micropython

SMALL = 64  # bytes of one USB packet
TRIES = 4  # small writes that must go through before large ones are tried again


class UsbLink:
    """Bytes in and out, without allocation.

    A write to a host that has stopped reading blocks for about a second and comes
    back short. After one of those only as much is written as certainly fits.
    """

    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)
        self._byte = bytearray(1)
        self._wary = 0

    def give_back(self):
        """Ctrl-C interrupts again."""
        micropython.kbd_intr(3)

    @micropython.native
    def readable(self):
        """Whether a byte waits."""
        for _ in self._readable.ipoll(0):
            return True
        return False

    @micropython.native
    def read_byte(self):
        """Next byte, or -1."""
        for _ in self._readable.ipoll(0):
            self._in.readinto(self._byte, 1)
            return self._byte[0]
        return -1

    @micropython.native
    def write(self, view, start, end):
        """Send view[start:end]; the number of bytes taken, maybe none."""
        for _ in self._writable.ipoll(0):
            return self._write(view, start, end - start)
        return 0

    @micropython.native
    def _write(self, view, start, count):
        if self._wary and count > SMALL:
            count = SMALL
        taken = self._out.write(view, start, count) or 0
        if taken < count:
            self._wary = TRIES
        elif self._wary:
            self._wary -= 1
        return taken
