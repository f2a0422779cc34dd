"""A board at MicroPython's raw prompt, behind a pseudo-terminal."""

import contextlib
import os
import threading
import tty

BANNER = b"raw REPL; CTRL-B to exit\r\n>"


class RawPrompt:
    """Answers Ctrl-A and `print('...')`.

    Parameters
    ----------
    dumb : bool
        Say nothing to what is asked.
    cut_short : bool
        Begin to say how much may be pasted, and fall silent.
    """

    def __init__(self, dumb=False, cut_short=False):
        self._dumb, self._cut_short = dumb, cut_short
        self._code, self._request = b"", b""
        self.ran = []
        self._open()

    def _open(self):
        self._own, self._theirs = os.openpty()
        tty.setraw(self._own)
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def close(self):
        os.close(self._theirs)
        os.close(self._own)

    def _say(self, data):
        with contextlib.suppress(OSError):  # closed
            os.write(self._own, data)

    def _live(self):
        try:
            while True:
                self._hear(os.read(self._own, 1))
        except OSError:
            return  # closed

    def _hear(self, one):
        self._request = (self._request + one)[-3:]
        if self._request == b"\x05A\x01":
            self._say(b"R\x01\x80" if self._cut_short else b"R\x00")
            self._code = b""
        elif one == b"\x01":
            self._say(BANNER)
            self._code = b""
        elif one == b"\x03":
            self._code = b""
        elif one == b"\x04":
            self._run(self._code.decode().strip())
            self._code = b""
        else:
            self._code += one

    def _run(self, code):
        if self._dumb:
            return
        self.ran.append(code)
        said = code.split("'")[1].encode() + b"\r\n" if code.startswith("print('") else b""
        self._say(b"OK" + said + b"\x04\x04>")


class TimedPrompt(RawPrompt):
    """The same as an open port on a clock of its own, which `monotonic` and `sleep` are.

    Parameters
    ----------
    late_s : iterable of float
        When the banner of the first Ctrl-A comes again, in seconds after it.
    """

    is_pty = rts = dtr = False

    def __init__(self, late_s=()):
        self._late_s, self._now_s, self._due = list(late_s), 0.0, []
        self.inWaiting = self._waiting  # as a serial port calls it
        super().__init__()

    def _open(self):
        pass

    def close(self):
        pass

    def monotonic(self):
        return self._now_s

    def sleep(self, wait_s):
        self._now_s += wait_s

    def _say(self, data):
        self._due.append((self._now_s, data))
        if data == BANNER:
            self._due += [(self._now_s + late_s, BANNER) for late_s in self._late_s]
            self._late_s = []
        self._due.sort(key=lambda one: one[0])

    def _waiting(self):
        return sum(len(data) for at_s, data in self._due if at_s <= self._now_s)

    @property
    def in_waiting(self):
        return self._waiting()

    def read(self, size=1):
        """As many bytes as are asked for, or what comes within a second."""
        until_s = self._now_s + 1.0
        while self._waiting() < size and self._now_s < until_s:
            self._now_s += 0.001
        got = b""
        while self._due and len(got) < size and self._due[0][0] <= self._now_s:
            at_s, data = self._due.pop(0)
            take = size - len(got)
            got += data[:take]
            if data[take:]:
                self._due.insert(0, (at_s, data[take:]))
        return got

    def write(self, data):
        for one in data:
            self._hear(bytes([one]))
        return len(data)
