"""DMA and the interrupt that moves samples from a converter into the history.

A conversion source runs by itself. What prepares it (own_converter.py, three_wire.py) is
not needed afterwards; it says of the source how many cycles of its clock a conversion
takes, how many a microsecond has, where DMA finds conversions and which DREQ tells of one;
and its registers, ten words: where to write what to start it; to stop it; where which bit
tells that a conversion was dropped, and what written there clears it; and the same for a
conversion that is wrong.

Three DMA channels need no processor: `data` moves
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
def _troubles(registers: ptr32) -> int:
    """What went wrong since the last call, as wire.FLAG_CONVERTER_*."""
    found = 0
    for i in range(2):
        at = ptr32(int(registers[4 + 3 * i]))
        if int(at[0]) & int(registers[5 + 3 * i]):
            at[0] = int(registers[6 + 3 * i])
            found |= 1 << i
    return found


@micropython.viper
def _write(registers: ptr32, place: int):
    ptr32(int(registers[place]))[0] = int(registers[place + 1])


class Sampler:
    """Fills a history from a conversion source.

    Parameters
    ----------
    chip : chips.Chip
        What this runs on.
    config : module
        See config.py.
    ring : memoryview
        Memory for raw blocks.
    source : tuple
        See above.

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

    def __init__(self, chip, config, ring, source):
        channels = len(config.CHANNELS)
        frame = channels * config.REDUCTION
        samples = config.SAMPLES_PER_BLOCK
        while samples * frame > RAW_CONVERSIONS:
            samples //= 2
        self._chip = chip
        self._channels = channels
        self._per_block = config.SAMPLES_PER_BLOCK
        self._samples = samples  # of one channel, in a raw block
        self._cycles, self._per_us, self._fifo, self._dreq, self._registers = source
        self._raw_count = samples * frame
        self._raw_bytes = 2 * self._raw_count
        self._raw_us = (self._raw_count * self._cycles + self._per_us // 2) // self._per_us
        # Two conversions more than a raw block takes.
        self._late_us = 2 * self._cycles // self._per_us
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
        # A sum of more than 16 bits is halved until it fits, and rounded: wire.full_scale.
        shift = 0
        while config.REDUCTION << config.CONVERTER_BITS - shift > 0x10000:
            shift += 1
        about = [config.REDUCTION, step, step, 0xFFFF, 0, (1 << shift) >> 1, shift]
        self._abouts = [array("I", about) for _ in range(channels)]
        bits = wire.bits_for(config.REDUCTION, config.CONVERTER_BITS)
        self._is_packed = bits == wire.PACKED_BITS
        self._values = samples * channels  # in a raw block
        self._out_bytes = wire.values_bytes(self._values, bits)  # of a raw block, in the history
        self._next = self._fill = self._flags = self._lost = 0
        self._slot = self._last_us = -1
        self._data = None
        self.mark_block = self.mark_offset = self.mark_us = self.raw_blocks = 0
        self.spent_us = self.faults = 0

    def start(self, history):
        """Sample into `history` from now on."""
        self._history = history
        self._history_at = uctypes.addressof(history.memory) + wire.SAMPLES_AT
        self._set_channels()
        _write(self._registers, 0)

    def _set_channels(self):
        data, stamp, control = rp2.DMA(), rp2.DMA(), rp2.DMA()
        self._data, self._stamp, self._control = data, stamp, control
        ring_bits = 2
        while 1 << ring_bits < 4 * self._slots:
            ring_bits += 1
        data.config(
            read=self._fifo,
            write=self._ring_at,
            count=self._raw_count,
            ctrl=data.pack_ctrl(
                size=HALFWORD,
                inc_read=False,
                treq_sel=self._dreq,
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
        """Stop source and DMA, in the order that leaves nothing running."""
        if self._data is None:
            return  # never started
        _write(self._registers, 2)
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
        troubles = _troubles(self._registers)
        if troubles:
            self._flags |= troubles
            if troubles & wire.FLAG_CONVERTER_OVERRUN and not self._lost:
                self._lost = 1
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
        missing = late_us * self._per_us // self._cycles if late_us < 100000 else MOST_LOST
        self._flags |= wire.FLAG_LATE
        self._lost = min(MOST_LOST, self._lost + missing)
