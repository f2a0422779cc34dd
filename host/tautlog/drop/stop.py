"""Stop: Ctrl-C and the signals that end a program, as requests that are polled.

Nothing is interrupted halfway: a signal is noted, and a drop checks it several times a second.

=================== ======================== ========================================
signal              before the release       after it
=================== ======================== ========================================
Ctrl-C (SIGINT)     calls the drop off       ends the recording early
SIGTERM             calls the drop off       the recording goes on; a second one ends it
                                             early
SIGHUP              calls the drop off       the recording goes on, however often it comes:
                                             a closing terminal sends more than one
third Ctrl-C        stops waiting for the    leaves the recording to the board
                    board
=================== ======================== ========================================

When the record is finished, Ctrl-C and SIGTERM skip the last readings of the board; marking goes
on and its result is shown, unless there were three of them. SIGHUP changes nothing.
"""

from __future__ import annotations

import contextlib
import math
import signal
import types
from collections.abc import Iterator

_LEAVE = 3  # signals after which nothing waits
_NAMES = ("SIGINT", "SIGTERM", "SIGHUP")  # the last is unknown to Windows
_WORDS = {"SIGINT": "Ctrl-C"}


class StopRequest:
    """The request to stop.

    Attributes
    ----------
    came : list of str
        Names of the signals, in order.
    asked : bool
        Call the drop off, or end the recording now.
    """

    def __init__(self) -> None:
        self.came: list[str] = []
        self.asked = False
        self._raise_at: float = math.inf  # number of counted signals
        self._raise_at_hangup = False
        self._released = False

    @property
    def why(self) -> str:
        """The signals that came, in words."""
        return " and ".join(dict.fromkeys(_WORDS.get(name, name) for name in self.came))

    @property
    def more(self) -> int:
        """Number of further signals after which nothing waits."""
        return max(_LEAVE - self._counted(), 0)

    @property
    def left(self) -> bool:
        """Whether to stop waiting for the board."""
        return self.more == 0

    def released(self) -> None:
        """Note the release: from now on there is a recording to keep."""
        self._released = True

    def __call__(self, number: int, frame: types.FrameType | None) -> None:
        """Note the signal, or interrupt if nothing is at stake."""
        self.came.append(signal.Signals(number).name)
        if self._counted() >= self._raise_at or (self._raise_at_hangup and self._hung_up()):
            raise KeyboardInterrupt
        if not self._released or "SIGINT" in self.came or self._counted() > 1:
            self.asked = True

    def _counted(self) -> int:
        return sum(name != "SIGHUP" for name in self.came)

    def _hung_up(self) -> bool:
        return "SIGHUP" in self.came

    @contextlib.contextmanager
    def at_once(self) -> Iterator[None]:
        """Raise KeyboardInterrupt at the first signal while inside."""
        with self._raising(self._counted() + 1, at_hangup=True):
            yield

    @contextlib.contextmanager
    def at_ctrl_c(self) -> Iterator[None]:
        """Raise KeyboardInterrupt at the next Ctrl-C or SIGTERM while inside."""
        with self._raising(self._counted() + 1):
            yield

    @contextlib.contextmanager
    def at_insistence(self) -> Iterator[None]:
        """Raise KeyboardInterrupt at the third Ctrl-C or SIGTERM from now on, while inside."""
        with self._raising(self._counted() + _LEAVE):
            yield

    @contextlib.contextmanager
    def _raising(self, count: int, *, at_hangup: bool = False) -> Iterator[None]:
        before = self._raise_at, self._raise_at_hangup
        self._raise_at, self._raise_at_hangup = count, at_hangup
        try:
            yield
        finally:
            self._raise_at, self._raise_at_hangup = before

    @contextlib.contextmanager
    def listening(self) -> Iterator[StopRequest]:
        """Take the signals while inside; works only in the main thread."""
        before = {}
        try:
            for name in _NAMES:
                if hasattr(signal, name):
                    number = getattr(signal, name)
                    before[number] = signal.signal(number, self)
        except ValueError:
            pass  # another thread gets no signals
        try:
            yield self
        finally:
            for number, handler in before.items():
                # The terminal is gone and will signal again, but the record must still be judged.
                gone = signal.Signals(number).name == "SIGHUP" and (
                    self._hung_up() or signal.getsignal(number) is signal.SIG_IGN  # set inside
                )
                signal.signal(number, signal.SIG_IGN if gone else handler)
