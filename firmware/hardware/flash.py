"""The sync flash: lit in hardware by the edge of the release switch.

While it watches, a state machine lights the flash within two microseconds of an opening of
the switch. Whether that is the release is known only later, so the light follows the rule
by which a release is told (release.py): a switch that closes again for longer than a
bounce was knocked, and the light goes out then; the next opening lights it again. The
flash of the release stays on for its whole length, and that of a knock never does.
"""

import rp2
from machine import Pin

MACHINE_HZ = 1000000
LOOP_US = 3  # instructions in each way round the loop
# Instructions of the state machine as numbers: a text would be compiled, and allocated.
SET_LOW = 0xE000  # set(pins, 0)
SET_HIGH = 0xE001
PULL = 0x80A0  # pull(block)
ISR_FROM_OSR = 0xA0C7  # mov(isr, osr)


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def _flash():
    wrap_target()
    set(pins, 0)
    wait(0, pin, 0)
    mov(y, osr)
    wait(1, pin, 0)
    set(pins, 1)
    label("open")
    mov(x, isr)
    label("lit")
    jmp(y_dec, "on")
    set(pins, 0)
    label("on")
    jmp(pin, "open")
    jmp(x_dec, "lit")
    wrap()


class SyncFlash:
    """The flash on one pin, and the switch that lights it.

    Parameters
    ----------
    number : int
        State machine to use.
    pin : int
        GPIO number of the flash.
    switch : Pin
        The release switch, an input that is high while open.
    length_us, bounce_us : int
        How long the flash is on; the longest closed phase of a bounce. No length: no flash.

    Attributes
    ----------
    pin : Pin
        The flash's pin, whose level may be read back.
    """

    def __init__(self, number, pin, switch, length_us, bounce_us):
        self.pin = Pin(pin, Pin.OUT, value=0)
        self._length = length_us // LOOP_US
        self._bounce = bounce_us // LOOP_US
        self._machine = rp2.StateMachine(
            number, _flash, freq=MACHINE_HZ, in_base=switch, jmp_pin=switch, set_base=self.pin
        )

    def watch(self):
        """From now on an opening of the switch lights the flash; allocates nothing."""
        machine = self._machine
        self.stop()
        if not self._length:
            return
        machine.restart()
        machine.put(self._bounce)
        machine.exec(PULL)
        machine.exec(ISR_FROM_OSR)
        machine.put(self._length)
        machine.exec(PULL)
        machine.active(1)

    def light(self):
        """Light it now, by the program; nothing if the switch has lit it already."""
        if self._length and not self.pin():
            self._machine.exec(SET_HIGH)

    def stop(self):
        """Dark, and the switch lights it no more."""
        machine = self._machine
        machine.exec(SET_LOW)
        machine.active(0)
        machine.exec(SET_LOW)  # the switch may have lit it in between
