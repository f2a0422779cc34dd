"""A board at MicroPython's raw prompt, behind a pseudo-terminal."""

import contextlib
import os
import threading
import time
import tty

BANNER = b"raw REPL; CTRL-B to exit\r\n>"


class RawPrompt:
    """Answers Ctrl-A and `print('...')`; `late_banners` come again, one after the other.

    Parameters
    ----------
    late_banners : int
        How often the banner of the first Ctrl-A is repeated.
    late_s : float
        After how long each.
    dumb : bool
        Say nothing to what is asked.
    cut_short : bool
        Begin to say how much may be pasted, and fall silent.
    """

    def __init__(self, late_banners=0, late_s=0.05, dumb=False, cut_short=False):
        self._late, self._late_s, self._dumb = late_banners, late_s, dumb
        self._cut_short = cut_short
        self._own, self._theirs = os.openpty()
        tty.setraw(self._own)
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self.ran = []
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def close(self):
        os.close(self._theirs)
        os.close(self._own)

    def _say(self, data):
        with contextlib.suppress(OSError):  # closed
            os.write(self._own, data)

    def _live(self):
        code, request = b"", b""
        try:
            while True:
                one = os.read(self._own, 1)
                request = (request + one)[-3:]
                if request == b"\x05A\x01":
                    self._say(b"R\x01\x80" if self._cut_short else b"R\x00")
                    code = b""
                elif one == b"\x01":
                    self._say(BANNER)
                    code = b""
                    self._repeat()
                elif one == b"\x03":
                    code = b""
                elif one == b"\x04":
                    self._run(code.decode().strip())
                    code = b""
                else:
                    code += one
        except OSError:
            return  # closed

    def _repeat(self):
        late, self._late = self._late, 0
        for number in range(late):
            wait_s = (number + 1) * self._late_s
            threading.Thread(target=self._say_later, args=(wait_s,), daemon=True).start()

    def _say_later(self, wait_s):
        time.sleep(wait_s)
        self._say(BANNER)

    def _run(self, code):
        if self._dumb:
            return
        self.ran.append(code)
        said = code.split("'")[1].encode() + b"\r\n" if code.startswith("print('") else b""
        self._say(b"OK" + said + b"\x04\x04>")
