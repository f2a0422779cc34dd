"""The heartbeat: a square wave that hardware makes, and that must be asked for again and again.

A state machine makes whole bursts of it, one for each word in its queue. Frequency and
length of a burst come from its clock. When nobody renews, whatever the processor does, the
wave ends low within two bursts: the one under way and one that waits.
"""

import rp2
from machine import Pin

BEAT_HZ = 1000
BURST_PERIODS = 50
ENDS_MS = 2 * 1000 * BURST_PERIODS // BEAT_HZ  # after the last renewal
CYCLES = 64  # of the state machine in a period
# Instructions of the state machine as numbers: a text would be compiled, and allocated.
SET_LOW = 0xE000  # set(pins, 0)
CLEAR_X = 0xE020  # set(x, 0)
PULL = 0x8080  # pull(noblock)


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def _beat():
    wrap_target()
    pull(block)
    mov(x, osr)
    label("period")
    set(pins, 1)[31]
    set(pins, 0)[30]
    jmp(x_dec, "period")
    wrap()


class Beat:
    """The square wave on one pin.

    Parameters
    ----------
    number : int
        State machine to use.
    pin : int
        GPIO number; low until `renew`, and whenever the wave has ended.
    """

    def __init__(self, number, pin):
        out = Pin(pin, Pin.OUT, value=0)
        self._machine = rp2.StateMachine(number, _beat, freq=BEAT_HZ * CYCLES, set_base=out)
        self._is_on = False

    def renew(self):
        """Let the wave go on for a burst more."""
        machine = self._machine
        if not machine.tx_fifo():
            machine.put(BURST_PERIODS - 1)
        if not self._is_on:
            self._is_on = True
            machine.active(1)

    def stop(self):
        """End the wave now, low; the queue is emptied, so that nothing is left to begin with."""
        machine = self._machine
        machine.exec(SET_LOW)
        machine.active(0)
        self._is_on = False
        machine.exec(SET_LOW)  # it may have gone high in between
        machine.exec(CLEAR_X)
        while machine.tx_fifo():
            machine.exec(PULL)
