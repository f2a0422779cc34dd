"""The board: converter, pins, link and watchdog of an RP2040 or RP2350.

All outputs are low before anything else happens. The drive goes low in the
interrupt of the key, and by a timer at the end of the longest pulse, whatever
the main loop does.
"""

import gc
import sys

import config
import hardware
from bare import CHIP, Bare, set_regulator
from hardware import powerup

powerup.rescue()
# Samples need most of the memory, in one piece.
_KEPT, _RAW, config.HISTORY_BLOCKS = powerup.take()
del powerup, hardware.powerup, sys.modules["hardware.powerup"]

import os  # noqa: E402
import time  # noqa: E402
from array import array  # noqa: E402

import micropython  # noqa: E402
from machine import WDT, Pin, Timer, idle  # noqa: E402

import wire  # noqa: E402
from hardware.beat import Beat  # noqa: E402
from hardware.crc import Check  # noqa: E402
from hardware.edges import EdgeStamps, EdgeWatch  # noqa: E402
from hardware.flash import SyncFlash  # noqa: E402
from hardware.sampler import Sampler  # noqa: E402

REST_US = 20000  # the main loop looks around this often when nothing happens
KEY_EDGES = 16  # that may wait for the main loop
FLASH_STAMPS = 16  # likewise: each flash has two, and a pause between
BEAT_MACHINE, FLASH_MACHINE = 6, 7  # of PIO1; all of PIO0 stamps edges

micropython.alloc_emergency_exception_buf(100)


@micropython.viper
def _closed(pins: ptr8, count: int) -> int:
    """Bit i is 1 where the pin of that place is low: closed to ground."""
    levels = int(ptr32(0xD0000004)[0])  # chips.SIO_INPUTS
    bits = 0
    for i in range(count):
        if (levels >> int(pins[i])) & 1 == 0:
            bits |= 1 << i
    return bits


def _source(config):
    """The conversion source, ready to start; what made it so leaves the memory."""
    name = "three_wire" if config.CONVERTER_BITS == 16 else "own_converter"
    package = __import__("hardware." + name)
    source = getattr(package, name).prepare(CHIP, config)
    delattr(package, name)
    for module in ("hardware." + name, "waveform"):
        sys.modules.pop(module, None)
    gc.collect()
    return source


class Board(Bare):
    """One board.

    Parameters
    ----------
    config : module
        See config.py.

    Attributes
    ----------
    check : wire.Check
        Computes checks without allocating.
    edge_input, edge_closed, edge_block, edge_offset, edge_us : int
        The edge that `next_edge` fetched: which input, its level, where it lies
        among the samples, and the board's clock.
    rest_us : int
        Time that neither main loop nor sampling had anything to do, modulo 2**30.
    """

    def __init__(self, config):
        super().__init__()
        self._drive = Pin(config.PIN_DRIVE, Pin.OUT, value=0)
        self._outputs = (
            (wire.OUTPUT_LAMP, Pin(config.PIN_LAMP, Pin.OUT, value=0)),
            (wire.OUTPUT_SHUNT, Pin(config.PIN_SHUNT, Pin.OUT, value=0)),
        )
        self._beat = Beat(BEAT_MACHINE, config.PIN_BEAT)
        self._led = Pin(config.PIN_LED, Pin.OUT, value=1)
        self.regulator = set_regulator(config.REGULATOR_MODE)
        self._config = config
        self.check = Check()
        self._sampler = Sampler(CHIP, config, _RAW, _source(config))
        self._output_bits = 0
        self._pulse_ms = config.RELEASE_PULSE_MS
        self._timer = Timer()
        self._end_pulse = self._drive_low
        self._watchdog = None
        self._fed_at = -1
        self.rest_us = 0
        self.edge_input = self.edge_closed = 0
        self.edge_block = self.edge_offset = self.edge_us = 0
        self._set_inputs(config)
        self._set_rate(config)

    def _set_inputs(self, config):
        # In the order of the bits wire.INPUT_*.
        pins = [config.PIN_SWITCH, config.PIN_KEY, config.PIN_ARTICLE_WIRE, config.PIN_MOUNT_WIRE]
        pins += [pin for _, pin in config.READBACKS]
        self._input_pins = bytes(pins)
        self._inputs = [Pin(pin, Pin.IN, Pin.PULL_UP) for pin in pins]
        switch, self._key, article, mount = self._inputs[:4]
        self._flash = SyncFlash(
            FLASH_MACHINE,
            config.PIN_FLASH,
            switch,
            1000 * config.FLASH_MS,
            1000 * config.RELEASE_BOUNCE_MS,
        )
        watch = self._watch = EdgeWatch(4)
        self._stamped = (
            (wire.INPUT_LATCHED, EdgeStamps(CHIP, 0, switch, watch)),
            (wire.INPUT_ARTICLE_WHOLE, EdgeStamps(CHIP, 1, article, watch)),
            (wire.INPUT_MOUNT_WHOLE, EdgeStamps(CHIP, 2, mount, watch)),
            (wire.EDGE_FLASH, EdgeStamps(CHIP, 3, self._flash.pin, watch, FLASH_STAMPS)),
        )
        self._key_stamps_us = array("i", [0] * KEY_EDGES)
        self._key_levels = bytearray(KEY_EDGES)
        self._key_seen = self._key_taken = self._key_lost = 0
        self._key_off = True  # until somebody watches it
        self._key.irq(self._on_key, Pin.IRQ_RISING | Pin.IRQ_FALLING, hard=True)

    def _set_rate(self, config):
        """Samples per microsecond as a fraction of small whole numbers."""
        above = config.CONVERSION_RATE_HZ
        below = 1000000 * config.REDUCTION * len(config.CHANNELS)
        a, b = above, below
        while b:
            a, b = b, a % b
        self._rate_above = above // a
        self._rate_below = below // a

    # What it is

    def random_bytes(self, count):
        """Bytes that nobody can guess."""
        return os.urandom(count)

    def memory(self, count):
        """Memory for the samples, zeroed."""
        return _KEPT[:count]

    def free_bytes(self):
        """Memory that is left; only asked where nothing is at stake."""
        gc.collect()
        return gc.mem_free()

    def start(self, history):
        """Sample into `history`; the watchdog runs from now on."""
        self._sampler.start(history)
        gc.collect()
        gc.threshold(-1)  # see bare.py; from now on when the memory is full, or before arming
        if self._config.WATCHDOG_MS:
            self._watchdog = WDT(timeout=self._config.WATCHDOG_MS)

    def set_quiet(self, quiet):
        """While quiet nothing may be allocated or collected."""
        if quiet:
            gc.collect()
            gc.disable()
        else:
            gc.enable()

    def close(self):
        """All outputs low, sampling stopped, Ctrl-C works again."""
        self._drive.value(0)
        self.output(0)
        self._timer.deinit()
        self._sampler.stop()
        for _, stamps in self._stamped:
            stamps.stop()
        super().close()

    # Time

    def ticks_us(self):
        """Board clock, microseconds modulo 2**30."""
        return time.ticks_us()

    @micropython.native
    def poll(self, may_rest):
        """Feed the watchdog; rest until something happens or it is time to look around."""
        taken = self._sampler.raw_blocks
        if taken != self._fed_at:
            self._fed_at = taken
            if self._watchdog is not None:
                self._watchdog.feed()
        if may_rest:
            self._rest()

    @micropython.native
    def _rest(self):
        start_us = time.ticks_us()
        spent_us = self._sampler.spent_us
        rested_us = 0
        while rested_us < REST_US and not self._is_wanted():
            idle()
            rested_us = time.ticks_diff(time.ticks_us(), start_us)
        spent_us = (self._sampler.spent_us - spent_us) & 0x3FFFFFFF
        self.rest_us = (self.rest_us + rested_us - spent_us) & 0x3FFFFFFF

    @micropython.native
    def _is_wanted(self):
        return self._key_seen != self._key_taken or self._watch.moved() or self._link.readable()

    # Pins

    @micropython.native
    def inputs(self):
        """Input bits, see wire.INPUT_*."""
        return _closed(self._input_pins, len(self._input_pins))

    def output(self, bits):
        """Set all outputs, see wire.OUTPUT_*; a pulse of the drive ends by itself.

        So does the heartbeat, unless it is asked for again within `beat.ENDS_MS`. The flash is
        lit by `arm_flash` and `light_flash`; without lamp and flash it is dark.
        """
        if not bits & wire.OUTPUT_DRIVE:
            self._drive(0)
        elif not self._output_bits & wire.OUTPUT_DRIVE:
            self._begin_pulse()
        changed = bits ^ self._output_bits
        self._output_bits = bits
        if bits & wire.OUTPUT_BEAT:
            self._beat.renew()
        elif changed & wire.OUTPUT_BEAT:
            self._beat.stop()
        if not bits & (wire.OUTPUT_LAMP | wire.OUTPUT_FLASH):
            self._flash.stop()
        for bit, pin in self._outputs:
            if changed & bit:
                pin(1 if bits & bit else 0)

    def _begin_pulse(self):
        self._timer.init(
            mode=Timer.ONE_SHOT, period=self._pulse_ms, callback=self._end_pulse, hard=True
        )
        self._drive(1)
        if self._key_off or self._key():  # it may have opened since it was asked last
            self._drive(0)

    def arm_flash(self):
        """From now on an opening of the release switch lights the flash, in hardware."""
        self._flash.watch()

    def light_flash(self):
        """Light the flash now, where the switch has not."""
        self._flash.light()

    def _drive_low(self, _):
        self._drive(0)

    def watch_key(self):
        """From now on an opening of the key is remembered."""
        self._key_off = False

    def key_was_off(self):
        """Whether the key was off at any moment since `watch_key`."""
        return self._key_off

    def _on_key(self, pin):
        """Hard interrupt: a key that moves was off, and that means drive low, now.

        Whatever the level reads by now: an opening may be over before it is asked.
        """
        self._key_off = True
        self._drive(0)
        level = pin()
        place = self._key_seen % KEY_EDGES
        self._key_stamps_us[place] = time.ticks_us()
        self._key_levels[place] = level
        self._key_seen += 1

    @micropython.native
    def next_edge(self):
        """Fetch the next edge of an input into the edge_* attributes; False if none."""
        if not self._watch.moved():
            return self._next_key_edge()
        for bit, stamps in self._stamped:
            if stamps.next():
                self.edge_input = bit
                self.edge_closed = 0 if stamps.is_open else 1
                self._place(stamps.stamp_us)
                return True
        return self._next_key_edge()

    def lost_edges(self):
        """Edges since the last call that came faster than they were fetched."""
        lost = self._key_lost + self._watch.lost
        self._key_lost = self._watch.lost = 0
        return lost

    @micropython.native
    def _next_key_edge(self):
        waiting = self._key_seen - self._key_taken
        if waiting > KEY_EDGES:
            self._key_lost += waiting - KEY_EDGES
            self._key_taken = self._key_seen - KEY_EDGES
        if self._key_taken != self._key_seen:
            place = self._key_taken % KEY_EDGES
            self._key_taken += 1
            self.edge_input = wire.INPUT_KEY_ON
            self.edge_closed = 1 - self._key_levels[place]
            self._place(self._key_stamps_us[place])
            return True
        return False

    def _place(self, stamp_us):
        """Find the sample that was being taken at a stamp."""
        sampler = self._sampler
        while True:
            taken = sampler.raw_blocks
            block, offset, mark_us = sampler.mark_block, sampler.mark_offset, sampler.mark_us
            if taken == sampler.raw_blocks:  # else the interrupt came in between
                break
        elapsed_us = wire.ticks_elapsed_us(stamp_us, mark_us)
        offset += elapsed_us * self._rate_above // self._rate_below
        per_block = self._config.SAMPLES_PER_BLOCK
        self.edge_block = block + offset // per_block
        self.edge_offset = offset % per_block
        self.edge_us = stamp_us
