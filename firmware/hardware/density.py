"""Code density: how often each code of the chip's own converter comes under a slow ramp.

No part of the running firmware: the laptop imports it at MicroPython's prompt. All
outputs are low as long as it runs, and the watchdog restarts the board into its
firmware when the laptop falls silent.

The ramp is made by a spare pin's pulse width through R and C. The mean of the pulses
is the duty times the pin's own levels. C passes no mean current, so the mean behind R
follows the duty in a straight line, whatever C does at other voltages; its leakage is
that of a large resistor and tilts the line without bending it. The charge curve of an
R and C would be bent by both, and by its own law.

In steps of the converter, with tau = R x C, 4096 steps of duty, and f pulses a second:
the pulses leave a ripple of 1024 / (f x tau) between its ends, whose mean is 0 at any
duty, and which counts like the converter's noise: it blurs no transition level. The
output lags by tau times the ramp's slope; the lag has opposite signs upward and
downward, and is constant but for the first 5 tau. The duty is stepped by the time
that has passed, so a late step catches up, and steps much shorter than tau apart
leave no stairs.
"""

import binascii
import gc
import json
import os
import time
from array import array

import machine
import micropython
from machine import ADC, PWM, WDT, Pin, mem32, unique_id

import config_check
from hardware import chips
from spare_pins import OUTPUTS, why_not

CODES = 4096
DUTIES = 65536  # of MicroPython's duty_u16, with 0
RAMP_COUNTS = 4096  # steps of the duty: one of the converter, 30 kHz
HELD_COUNTS = 256  # a level that is held needs no fine steps, but little ripple: 0.5 MHz
SLOWER = 16  # times, to see what a level is with hardly a load
MOST_CYCLES = 65536  # between conversions
PASSES_HZ = 1000  # the duty is stepped this often: USB waits no longer
SILENT_MS = 8000  # without a command or a ramp: the laptop is gone
LINE_BYTES = 768  # of a histogram, in one line of base64
FCS_ERROR = 1 << 2  # a conversion that did not settle is marked in its bit 15


@micropython.viper
def _count(adc: int, histogram: ptr32, about: ptr32, conversions: int) -> int:
    """Count codes; return how many conversions are missing because none came."""
    fcs = ptr32(adc + 8)  # chips.ADC_FCS
    fifo = ptr32(adc + 12)  # chips.ADC_FIFO
    left = conversions
    patience = 500000
    while left > 0 and patience > 0:
        if (int(fcs[0]) >> 16) & 15:
            code = int(fifo[0])
            if code < 4096:
                histogram[code] = int(histogram[code]) + 1
            else:
                about[0] = int(about[0]) + 1
            left -= 1
            patience = 500000
        else:
            patience -= 1
    return left


def begin(ramp_pin, channel_pin, silent_ms=SILENT_MS):
    """Make the outputs low and the two pins ready, and tell what this board is."""
    config, faults = config_check.load()
    problem = why_not(config, faults, ramp_pin, channel_pin)
    if problem:
        print(json.dumps({"refused": problem}))
        return None
    for name in OUTPUTS:
        Pin(getattr(config, name), Pin.OUT, value=0)
    facts = {
        "machine": os.uname().machine,
        "serial": unique_id().hex(),
        "chip": chips.this_chip().name,
        "rate_hz": config.CONVERSION_RATE_HZ,
        "slower": min(SLOWER, MOST_CYCLES * config.CONVERSION_RATE_HZ // chips.ADC_CLOCK_HZ),
        "regulator": chips.has_regulator(),
    }
    print(json.dumps(facts))
    return Density(config.CONVERSION_RATE_HZ, ramp_pin, channel_pin, silent_ms)


@micropython.viper
def _zero(histogram: ptr32):
    for code in range(4096):
        histogram[code] = 0


@micropython.viper
def _first(histogram: ptr32, code: int, step: int) -> int:
    """The first code from this one on that has come; beyond the last if none has."""
    while 0 <= code < 4096:
        if int(histogram[code]):
            return code
        code += step
    return code


class Density:
    """The converter running by itself, and the ramp before it.

    Parameters
    ----------
    rate_hz : int
        Conversions a second, as in use: each loads the source a little.
    ramp_pin, channel_pin : int
        GPIO numbers.
    silent_ms : int
        The board restarts when it is asked for nothing so long; 0 = never.
    """

    def __init__(self, rate_hz, ramp_pin, channel_pin, silent_ms):
        self._watchdog = WDT(timeout=silent_ms) if silent_ms else None
        self._rate_hz = rate_hz
        self._histogram = array("I", bytes(4 * CODES))
        self._about = array("I", bytes(4))
        self._channel = ADC(Pin(channel_pin))  # prepares the pad
        self._pwm = PWM(Pin(ramp_pin, Pin.OUT, value=0), freq=_pulses(RAMP_COUNTS), duty_u16=0)
        self._adc = chips.this_chip().adc
        select = (channel_pin - chips.FIRST_ADC_PIN) << chips.CS_SELECT_SHIFT
        bits = chips.CS_ENABLE | select
        mem32[self._adc + chips.ADC_CS] = bits
        self._set_slower(1)
        mem32[self._adc + chips.ADC_FCS] = chips.FCS_ENABLE | FCS_ERROR | chips.FCS_OVER
        mem32[self._adc + chips.ADC_CS] = bits | chips.CS_START_MANY

    def _set_slower(self, times):
        cycles = chips.ADC_CLOCK_HZ // self._rate_hz * times
        mem32[self._adc + chips.ADC_DIV] = chips.adc_divider(cycles)
        self._per_pass = max(1, self._rate_hz // times // PASSES_HZ)

    def ramp(self, rising, length_ms, settle_ms):
        """Count codes under one ramp, from one end to the other, and tell them."""
        step_us = max(1, 1000 * length_ms // DUTIES)
        self._pwm.freq(_pulses(RAMP_COUNTS))
        self._pwm.duty_u16(0 if rising else DUTIES - 1)
        self._wait(settle_ms)
        self._clear()
        last = DUTIES + 1000 * settle_ms // step_us
        start_us = time.ticks_us()
        while True:
            duty = time.ticks_diff(time.ticks_us(), start_us) // step_us
            if duty >= last:
                break
            duty = min(duty, DUTIES - 1)  # at the end until what lags has come
            self._pwm.duty_u16(duty if rising else DUTIES - 1 - duty)
            self._take(self._per_pass)
        self._tell()

    def held(self, duty, conversions, settle_ms, forced, slower):
        """Count codes at a constant level and tell them.

        Parameters
        ----------
        duty, conversions, settle_ms : int
            The level; how many; the wait before.
        forced : bool or None
            The regulator saves no power; None: its pin is left alone.
        slower : int
            Convert so many times more slowly: an input that is asked less loads less.
        """
        if forced is not None:
            Pin(chips.PIN_REGULATOR, Pin.OUT, value=1 if forced else 0)
        self._pwm.freq(_pulses(HELD_COUNTS))
        self._pwm.duty_u16(duty)
        self._set_slower(slower)
        self._wait(settle_ms)
        self._clear()
        while conversions > 0:
            self._take(min(self._per_pass, conversions))
            conversions -= self._per_pass
        self._set_slower(1)
        if forced is not None:
            Pin(chips.PIN_REGULATOR, Pin.OUT, value=0)
        self._tell()

    def end(self):
        """Stop converter and ramp."""
        mem32[self._adc + chips.ADC_CS] = 0
        self._pwm.duty_u16(0)

    def _take(self, conversions):
        self._feed()
        if _count(self._adc, self._histogram, self._about, conversions):
            raise OSError("the converter has stopped")

    def _wait(self, ms):
        """Let it settle under the load of conversions."""
        start_ms = time.ticks_ms()
        while time.ticks_diff(time.ticks_ms(), start_ms) < ms:
            self._take(self._per_pass)

    def _clear(self):
        _zero(self._histogram)
        self._about[0] = 0
        gc.collect()

    def _tell(self):
        """The codes that came: length and check, then letters that the prompt does not change."""
        self._feed()
        first = _first(self._histogram, 0, 1)
        end = _first(self._histogram, CODES - 1, -1) + 1
        data = bytes(memoryview(self._histogram)[first:end])
        check = "%08x" % (binascii.crc32(data) & 0xFFFFFFFF)
        facts = {"errors": self._about[0], "first": first, "bytes": len(data), "crc": check}
        print(json.dumps(facts))
        for start in range(0, len(data), LINE_BYTES):
            print(binascii.b2a_base64(data[start : start + LINE_BYTES]).decode().strip())
            self._feed()

    def _feed(self):
        if self._watchdog is not None:
            self._watchdog.feed()


def _pulses(counts):
    """Pulses a second for so many steps of the duty."""
    return machine.freq() // counts
