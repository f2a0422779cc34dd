"""A 16-bit converter of successive approximation on three wires: start, clock, data.

A state machine of its own plays one period after the other (see ../waveform.py) and waits
for nothing and nobody, so that conversions are evenly spaced whatever the DMA does. Where
its FIFO is full a conversion is dropped, and a flag says so. See sampler.py for what a
source is.

The numbers are those of pico-sdk 2.2.0, addressmap.h, pio.h and dreq.h, and the same on
both chips. A push that does not block sets FDEBUG.RXSTALL where the FIFO is full and the
data are dropped; RXUNDER tells that it was read while empty (RP2040 datasheet, 3.7).
"""

from array import array

import rp2
from machine import Pin, freq, mem32

from waveform import Waveform

PIO1 = 0x50300000
SET, CLEAR = 0x2000, 0x3000  # what is written there sets or clears bits of a register
PIO_CTRL = 0x00
PIO_FDEBUG = 0x08
PIO_RXF = 0x20
PIO1_RX_DREQ = 12
STATE_MACHINE = 4  # as rp2.StateMachine numbers the first of PIO1
RUN = 1 << 0  # CTRL.SM_ENABLE of that one
STALLED, UNDER = 1 << 0, 1 << 8  # FDEBUG.RXSTALL and RXUNDER of that one


def _program(half, convert, rest):
    """The period, for numbers of a waveform; side-set is the clock."""
    last = half - 1
    delay, loops, first, second = convert
    delay2, loops2, first2, second2 = rest
    count, count2 = loops - 1, loops2 - 1

    @rp2.asm_pio(
        set_init=rp2.PIO.OUT_LOW,
        sideset_init=rp2.PIO.OUT_LOW,
        in_shiftdir=rp2.PIO.SHIFT_LEFT,
        fifo_join=rp2.PIO.JOIN_RX,
    )
    def period():
        wrap_target()
        set(pins, 1).side(0)  # a conversion begins
        set(x, 14).side(0)
        set(y, count).side(0)[delay]
        label("convert")
        nop().side(0)[first]
        jmp(y_dec, "convert").side(0)[second]
        set(pins, 0).side(0)[last]  # it is over: bit 15 comes
        nop().side(1)[last]
        label("bit")
        in_(pins, 1).side(0)[last]  # what was there before this fall
        jmp(x_dec, "bit").side(1)[last]
        in_(pins, 1).side(0)[last]  # at the 16th fall bit 0
        push(noblock).side(0)
        set(y, count2).side(0)[delay2]
        label("rest")
        nop().side(0)[first2]
        jmp(y_dec, "rest").side(0)[second2]
        wrap()

    return period


def prepare(chip, config):
    """Pins and state machine, which does not run yet."""
    clock_hz = freq()
    form = Waveform(clock_hz, config.CONVERSION_RATE_HZ, config.CONVERSION_TIME_NS)
    # A data wire that is open reads as full scale, which no zero is.
    data = Pin(config.PIN_CONVERSION_DATA, Pin.IN, Pin.PULL_UP)
    rp2.StateMachine(
        STATE_MACHINE,
        _program(form.half, form.convert, form.rest),
        freq=clock_hz,
        in_base=data,
        set_base=Pin(config.PIN_CONVERSION_START, Pin.OUT, value=0),
        sideset_base=Pin(config.PIN_CONVERSION_CLOCK, Pin.OUT, value=0),
    )
    control, debug = PIO1 + PIO_CTRL, PIO1 + PIO_FDEBUG
    mem32[debug] = STALLED | UNDER
    registers = array("I", [control + SET, RUN, control + CLEAR, RUN])
    for flag in (STALLED, UNDER):
        registers.extend(array("I", [debug, flag, flag]))
    return form.period, clock_hz // 1000000, PIO1 + PIO_RXF, PIO1_RX_DREQ, registers
