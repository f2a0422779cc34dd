"""A board without pins: link, name and prompt, which need no config.

The board module is built on it, and a board with a wrong config.py is nothing else.
"""

import gc

import micropython

# First of all: a laptop may greet a board that is still starting, and any byte 3 of a
# frame would count as Ctrl-C.
micropython.kbd_intr(-1)
# While it starts, what each import leaves is collected soon and its place used again: the free
# memory stays in one piece, and nothing is spilled over an event of an earlier life.
gc.threshold(4000)  # type: ignore[attr-defined]  # MicroPython has it

import os  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402

from machine import Pin, idle, mem32, reset, unique_id  # noqa: E402

from hardware.chips import (  # noqa: E402
    PIN_REGULATOR,
    WATCHDOG_SCRATCH,
    has_regulator,
    this_chip,
)
from hardware.link import UsbLink  # noqa: E402

CHIP = this_chip()
SCRATCH = CHIP.watchdog + WATCHDOG_SCRATCH  # 0: PROMPT; 1 to 3: where an event lies
PROMPT = 0x7A07  # in the first scratch register: stay at the prompt after this reset
LAST_WORD_MS = 200  # for what was written to leave by USB
IS_UNFIT = " W with " in os.uname().machine  # it has a radio, see halt.py

ended_by = None  # the exception by which the firmware fell over, for who asks at the prompt


def set_regulator(mode):
    """Set the mode of the board's supply; what it is now, "" where there is no such pin."""
    if not has_regulator():
        return ""
    Pin(PIN_REGULATOR, Pin.OUT, value=1 if mode == "steady" else 0)
    return mode


def release_pins(config):
    """Make every pin of a config an input, whatever drives it."""
    for name in dir(config):
        if name.startswith("PIN_") and isinstance(getattr(config, name), int):
            Pin(getattr(config, name), Pin.IN).irq(None)


def is_kept_out(strap):
    """Whether the prompt is wanted instead of the firmware: by a command or the strap.

    `strap` is its pin, or -1 where the config does not say: then no pin is touched.
    """
    asked = mem32[SCRATCH] == PROMPT
    if asked:
        mem32[SCRATCH] = 0
    kept_out = asked or (strap >= 0 and Pin(strap, Pin.IN, Pin.PULL_UP).value() == 0)
    if kept_out:
        micropython.kbd_intr(3)
    return kept_out


class Bare:
    """What a board is without its pins; see board.py for what each method promises.

    Attributes
    ----------
    regulator : str
        Mode of the board's supply that was set, "" for none.
    """

    regulator = ""

    def __init__(self):
        self._link = UsbLink()

    def name(self):
        """What this is."""
        version = ".".join([str(part) for part in sys.implementation.version[:3]])
        return "%s, MicroPython %s" % (os.uname().machine, version)

    def serial(self):
        """Unique number of the board."""
        return unique_id().hex()

    def poll(self, may_rest):
        """Rest until the processor is woken."""
        if may_rest:
            idle()

    @micropython.native
    def read_byte(self):
        """Next byte from the laptop, or -1."""
        return self._link.read_byte()

    @micropython.native
    def write(self, view, start, end):
        """Send view[start:end]; the number of bytes taken, maybe none."""
        return self._link.write(view, start, end)

    def close(self):
        """Ctrl-C works again."""
        self._link.give_back()

    def reset_to_prompt(self):
        """Restart the board and leave it at MicroPython's prompt."""
        time.sleep_ms(LAST_WORD_MS)
        self.close()
        mem32[SCRATCH] = PROMPT
        reset()
