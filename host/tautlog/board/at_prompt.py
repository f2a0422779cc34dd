"""A board that is at MicroPython's prompt, where the firmware should run: why it is there.

What the firmware said when it fell over is gone by the time that somebody listens. The board keeps
the exception; and its entry is imported again, which starts nothing, and may fall over like that.
"""

from __future__ import annotations

from collections.abc import Callable

from tautlog.board.link import Link

PROMPT = b">>> "
NOTHING = "-"
MOST_SAID = 1 << 14  # bytes: a traceback has some hundred; own choice
# Ctrl-C twice and Ctrl-A: the raw prompt; Ctrl-D: run; Ctrl-B: the usual prompt again
# (MicroPython documentation, "REPL").
ENTER, RUN, LEAVE = b"\r\x03\x03\x01", b"\x04", b"\x02"
ENTERED = b"raw REPL"
CODE = f"""
import micropython, sys
try:
    import main, bare
    if bare.ended_by:
        raise bare.ended_by
    print({NOTHING!r})
except Exception as problem:
    sys.print_exception(problem)
finally:
    micropython.kbd_intr(3)
"""


def last_words(link: Link, clock: Callable[[], float], wait_s: float) -> str | None:
    """The last line of the traceback of the firmware's entry.

    Returns
    -------
    str or None
        "" if it did not fall over, None if no prompt answers.
    """
    deadline = clock() + wait_s

    def is_late() -> bool:
        return clock() > deadline

    link.write(ENTER)
    if ENTERED not in _until(link, is_late, ENTERED, 1):
        return None
    link.write(CODE.encode() + RUN)
    said = _until(link, is_late, RUN, 2)
    link.write(LEAVE)
    if said.count(RUN) < 2:
        return None
    text = said.rpartition(b"OK")[2].partition(RUN)[0].decode(errors="replace")
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        return None
    return "" if lines[-1] == NOTHING else lines[-1]


def _until(link: Link, is_late: Callable[[], bool], mark: bytes, count: int) -> bytes:
    """What comes until a mark has come so often, no longer and no more than a prompt says."""
    said = b""
    while said.count(mark) < count and len(said) < MOST_SAID and not is_late():
        said += link.read()
    return said[:MOST_SAID]
