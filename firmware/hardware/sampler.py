"""Converter, DMA and the interrupt that moves samples into the history.

The converter runs by itself. Three DMA channels need no processor: `data` moves
one raw block of conversions into the ring, then starts `stamp`, which copies
the microsecond timer, which starts `control`, which aims `data` at the next raw
block and starts it again (RP2040 datasheet, 2.5.6.2, control blocks). The end of
a raw block is an interrupt: it sums conversions into samples.

Nothing that runs in the interrupt allocates or may raise.
"""

import time
from array import array

import micropython
import rp2
import uctypes
from machine import ADC, Pin, mem32

import wire
from hardware import chips
from hardware.dma import stop_channels
from hardware.memory import Aligned, stamp_at

try:
    from hardware.loops_thumb import pack, reduce
except (ImportError, SyntaxError):  # no Thumb assembler here
    from hardware.loops_viper import pack, reduce

RAW_CONVERSIONS = 2048  # at most, in a raw block
MOST_LOST = 0xFFFF
WORD, HALFWORD = 2, 1  # transfer sizes, as rp2.DMA numbers them


@micropython.viper
def _troubles(fcs: int, cs: int) -> int:
    """1: the FIFO ran over; 2: a conversion did not settle."""
    over = (int(ptr32(fcs)[0]) >> 11) & 1
    error = (int(ptr32(cs)[0]) >> 10) & 1
    return over | (error << 1)


class Sampler:
    """Fills a history from the converter.

    Parameters
    ----------
    chip : chips.Chip
        What this runs on.
    config : module
        See config.py.
    ring : memoryview
        Memory for raw blocks.

    Attributes
    ----------
    mark_block, mark_offset, mark_us : int
        Block and sample in it that the converter had reached at a stamp.
    raw_blocks : int
        Raw blocks taken so far, modulo 65536; tells whether sampling progresses.
    spent_us : int
        Time spent in the interrupt, modulo 2**30.
    faults : int
        Errors that the interrupt swallowed; 0 unless the firmware is wrong.
    """

    def __init__(self, chip, config, ring):
        channels = len(config.CHANNELS)
        frame = channels * config.REDUCTION
        samples = config.SAMPLES_PER_BLOCK
        while samples * frame > RAW_CONVERSIONS:
            samples //= 2
        self._chip = chip
        self._channels = channels
        self._per_block = config.SAMPLES_PER_BLOCK
        self._samples = samples  # of one channel, in a raw block
        self._cycles = chips.ADC_CLOCK_HZ // config.CONVERSION_RATE_HZ
        self._raw_count = samples * frame
        self._raw_bytes = 2 * self._raw_count
        self._raw_us = (self._raw_count * self._cycles + 24) // 48
        self._late_us = 2 * self._cycles // 48  # two conversions more than a raw block takes
        self._slots = 2
        while self._slots * 2 * self._raw_bytes <= len(ring):
            self._slots *= 2
        self._ring = ring
        self._ring_at = uctypes.addressof(ring)
        self._stamps = Aligned(4 * self._slots)
        self._table = Aligned(4 * self._slots)
        table = uctypes.bytearray_at(self._table.address, 4 * self._slots)
        for i in range(self._slots):
            table[4 * i : 4 * i + 4] = (self._ring_at + i * self._raw_bytes).to_bytes(4, "little")
        step = 2 * channels
        self._abouts = [
            array("I", [config.REDUCTION, step, step, 0xFFFF, 0]) for _ in range(channels)
        ]
        bits = wire.bits_for(config.REDUCTION)
        self._is_packed = bits == wire.PACKED_BITS
        self._values = samples * channels  # in a raw block
        self._out_bytes = wire.values_bytes(self._values, bits)  # of a raw block, in the history
        self._next = self._fill = self._flags = self._lost = 0
        self._slot = self._last_us = -1
        self._cs = 0
        self.mark_block = self.mark_offset = self.mark_us = self.raw_blocks = 0
        self.spent_us = self.faults = 0

    def start(self, history, pins):
        """Sample the pins into `history` from now on."""
        self._history = history
        self._history_at = uctypes.addressof(history.memory) + wire.SAMPLES_AT
        self._converters = [ADC(Pin(pin)) for pin in pins]  # prepares the pads
        self._set_converter(pins)
        self._set_channels()
        mem32[self._cs] = self._cs_bits | chips.CS_START_MANY

    def _set_converter(self, pins):
        adc = self._chip.adc
        self._cs = adc + chips.ADC_CS
        self._fcs = adc + chips.ADC_FCS
        first = pins[0] - chips.FIRST_ADC_PIN
        bits = chips.CS_ENABLE | first << chips.CS_SELECT_SHIFT
        if len(pins) > 1:
            mask = 0
            for pin in pins:
                mask |= 1 << (pin - chips.FIRST_ADC_PIN)
            bits |= mask << chips.CS_ROUND_ROBIN_SHIFT
        self._cs_bits = bits
        self._fcs_bits = chips.FCS_ENABLE | chips.FCS_DREQ | 1 << chips.FCS_THRESHOLD_SHIFT
        mem32[self._cs] = bits
        # A divider below the conversion's own length means: without a pause.
        divider = self._cycles - 1 if self._cycles > chips.ADC_CYCLES else 0
        mem32[adc + chips.ADC_DIV] = divider << 8
        mem32[self._fcs] = 0
        while mem32[self._fcs] >> chips.FCS_LEVEL_SHIFT & 15:
            mem32[adc + chips.ADC_FIFO]  # drain
        mem32[self._fcs] = self._fcs_bits | chips.FCS_OVER | chips.FCS_UNDER

    def _set_channels(self):
        data, stamp, control = rp2.DMA(), rp2.DMA(), rp2.DMA()
        self._data, self._stamp, self._control = data, stamp, control
        ring_bits = 2
        while 1 << ring_bits < 4 * self._slots:
            ring_bits += 1
        data.config(
            read=self._chip.adc + chips.ADC_FIFO,
            write=self._ring_at,
            count=self._raw_count,
            ctrl=data.pack_ctrl(
                size=HALFWORD,
                inc_read=False,
                treq_sel=self._chip.adc_dreq,
                high_pri=True,
                chain_to=stamp.channel,
                irq_quiet=False,
            ),
        )
        stamp.config(
            read=self._chip.timer_low,
            write=self._stamps.address,
            count=1,
            ctrl=stamp.pack_ctrl(
                size=WORD,
                inc_read=False,
                ring_sel=True,
                ring_size=ring_bits,
                high_pri=True,
                chain_to=control.channel,
            ),
        )
        self._trigger = data.registers[
            chips.DMA_WRITE_TRIGGER_WORD : chips.DMA_WRITE_TRIGGER_WORD + 1
        ]
        control.config(
            read=self._table.address,
            write=self._trigger,
            count=1,
            ctrl=control.pack_ctrl(
                size=WORD,
                inc_write=False,
                ring_sel=False,
                ring_size=ring_bits,
                high_pri=True,
            ),
        )
        data.irq(self._on_raw_block, hard=True)
        control.active(1)  # aims `data` at the first raw block and starts it

    def stop(self):
        """Stop converter and DMA, in the order that leaves nothing running."""
        if not self._cs:
            return  # never started
        mem32[self._cs] = 0
        stop_channels(self._chip, (self._data, self._stamp, self._control))

    # In the interrupt

    def _on_raw_block(self, _):
        try:
            start_us = time.ticks_us()
            self._take_raw_blocks()
            spent_us = time.ticks_diff(time.ticks_us(), start_us)
            self.spent_us = (self.spent_us + spent_us) & 0x3FFFFFFF
        except Exception:  # or the interrupt would be switched off for good
            self.faults += 1

    @micropython.native
    def _take_raw_blocks(self):
        slots = self._slots
        while True:
            writing = ((self._control.read - self._table.address) // 4 - 1) % slots
            if writing == self._next:
                return
            self._take_raw_block(self._next)
            self._next = (self._next + 1) % slots

    @micropython.native
    def _take_raw_block(self, raw):
        history = self._history
        fill = self._fill
        first = self._abouts[0]
        if fill == 0:
            self._slot = history.claim()
            first[3] = 0xFFFF
            first[4] = 0
        slot = self._slot
        place = self._stamps.address + 4 * raw
        stamp_us = stamp_at(place)
        late_us = ((stamp_us - self._last_us) & 0x3FFFFFFF) - self._raw_us
        if late_us > self._late_us and self._last_us >= 0:
            self._count_missing(late_us)
        self._last_us = stamp_us
        if slot >= 0:
            source = self._ring_at + raw * self._raw_bytes
            done = fill // self._samples * self._out_bytes
            target = self._history_at + slot * history.frame_bytes + done
            if self._is_packed:
                self._pack(source, target)
            else:
                reduce(source, target, self._samples, first)
                if self._channels > 1:
                    self._reduce_others(source, target)
        if stamp_at(place) != stamp_us:
            self._flags |= wire.FLAG_LATE
        troubles = _troubles(self._fcs, self._cs)
        if troubles:
            self._note_troubles(troubles)
        fill += self._samples
        if fill == self._per_block:
            fill = 0
            if slot >= 0:
                history.commit(stamp_us, self._flags, self._lost, first[3], first[4])
                self._flags = self._lost = 0
        self._fill = fill
        self.mark_block = history.head
        self.mark_offset = fill
        self.mark_us = stamp_us
        self.raw_blocks = (self.raw_blocks + 1) & 0xFFFF

    def _pack(self, source, target):
        if self._channels > 1:
            # For smallest and largest of the first channel alone: each onto itself.
            reduce(source, source, self._samples, self._abouts[0])
        pack(source, target, self._values >> 1, self._abouts[-1])

    def _reduce_others(self, source, target):
        for channel in range(1, self._channels):
            reduce(source + 2 * channel, target + 2 * channel, self._samples, self._abouts[channel])

    def _count_missing(self, late_us):
        """Count conversions that are missing by the time they took."""
        missing = late_us * 48 // self._cycles if late_us < 100000 else MOST_LOST
        self._flags |= wire.FLAG_LATE
        self._lost = min(MOST_LOST, self._lost + missing)

    def _note_troubles(self, troubles):
        if troubles & 1:
            mem32[self._fcs] = self._fcs_bits | chips.FCS_OVER
            self._flags |= wire.FLAG_CONVERTER_OVERRUN
            if not self._lost:
                self._lost = 1
        if troubles & 2:
            mem32[self._cs] = self._cs_bits | chips.CS_START_MANY | chips.CS_ERROR_STICKY
            self._flags |= wire.FLAG_CONVERTER_ERROR
