"""A board whose converter and pins are wired to a simulated rig.

Stands in for firmware/board.py, with the same methods. Samples and pin levels
come from the rig through one socket, a step of a millisecond at a time; the
laptop is served through another. Time is counted in samples, so it may run
faster than the clock on the wall, once a laptop has come. It waits for a laptop
that is connected and alive, and for nobody else.
"""

import gc
import struct
import time
from array import array

from bare import EDGE, EDGE_BYTES, LINK_CUT, REPLY, REPLY_BYTES, REQUEST, Bare, Setup, wall_us

TICKS_PERIOD_US = 1 << 30
STEP_SAMPLES = 64
# Simulated time runs ahead of the laptop's last word by this much and no more,
# unless the laptop has been silent on the wall's clock too.
AHEAD_US = 600000
SILENT_WALL_US = 1500000
LEAST_REST_US, MOST_REST_US = 200, 1000  # between two looks at the laptop
MEMORY_BYTES = 150000  # for samples, as on an RP2040
LATCHED, KEY_ON = 1, 2  # wire.INPUT_*
DRIVE, LAMP, FLASH = 1, 2, 4  # wire.OUTPUT_*


class Flash:
    """What the board's hardware does with the sync flash; see firmware/hardware/flash.py.

    Attributes
    ----------
    bit : int
        Its edges are those of this input.
    watches : bool
        An opening of the switch lights it.
    """

    def __init__(self, config, bit):
        self.bit = bit
        self.watches = False
        self._length_us = 1000 * config.FLASH_MS
        self._bounce_us = 1000 * config.RELEASE_BOUNCE_MS
        self._lit_us = self._closed_us = -1

    def arm(self, now_us):
        """Watch the switch, which is closed."""
        self.watches = self._length_us > 0
        self._lit_us = -1
        self._closed_us = now_us

    def is_lit_by_edge(self, closed, stamp_us):
        """Whether this edge of the switch lights it: not one within bounces."""
        if closed:
            self._closed_us = stamp_us
            return False
        still_us = (stamp_us - self._closed_us) % TICKS_PERIOD_US
        bounces = self._lit_us >= 0 and still_us <= self._bounce_us
        if not self.watches or bounces:
            return False
        self._lit_us = stamp_us
        return True

    def is_lit_by_program(self, now_us):
        """Whether it was dark until now, when the program lights it."""
        lit_us = (now_us - self._lit_us) % TICKS_PERIOD_US
        if not self._length_us or (self._lit_us >= 0 and lit_us < self._length_us):
            return False
        self._lit_us = now_us
        self.watches = False
        return True


class Board(Bare):
    """One simulated board; see firmware/board.py for what each method promises.

    Parameters
    ----------
    config : object
        As the firmware's config.
    """

    def __init__(self, config):
        # The firmware's, which only the firmware's process has.
        import events
        import keepsake
        import wire

        super().__init__()
        bits = wire.bits_for(config.REDUCTION, config.CONVERTER_BITS)
        values = len(config.CHANNELS) * config.SAMPLES_PER_BLOCK
        frame_bytes = wire.block_frame_bytes(values, bits)
        slots = keepsake.slots_in(MEMORY_BYTES, frame_bytes, events.MEMORY_BYTES)
        config.HISTORY_BLOCKS = min(slots, config.HISTORY_BLOCKS or slots)
        self.check = wire.Check()
        self._put_values = wire.put_values
        self.rest_us = 0  # of no meaning here
        self._channels = len(config.CHANNELS)
        self._sample_rate_hz = config.CONVERSION_RATE_HZ / (config.REDUCTION * self._channels)
        self._per_block = config.SAMPLES_PER_BLOCK
        self._speed = Setup.speed
        self._samples = 0  # since power-up, the board's clock
        self._partial = bytearray(2 * self._per_block * self._channels)
        self._filled = 0
        self._inputs = 0
        self._outputs = 0
        self._edges = []
        self._key_off = True  # until somebody watches it
        self._flash = Flash(config, wire.EDGE_FLASH)
        self._history = None
        self._due_us = wall_us()
        self._heard_at = 0
        self._heard_wall_us = 0
        self.edge_input = self.edge_closed = 0
        self.edge_block = self.edge_offset = self.edge_us = 0

    def free_bytes(self):
        """Memory that is left; nobody knows it under CPython."""
        return gc.mem_free() if hasattr(gc, "mem_free") else None

    def memory(self, count):
        """Memory for the samples, zeroed."""
        return bytearray(count)

    def start(self, history):
        """Sample into `history` from now on."""
        self._history = history

    def set_quiet(self, quiet):
        """Nothing may be allocated while quiet: of no matter here."""

    def close(self):
        """All outputs low, sampling stopped."""
        self._outputs = 0
        super().close()

    # Time and samples

    def ticks_us(self):
        """Board clock, microseconds modulo 2**30."""
        return self._stamp_us(0)

    def _stamp_us(self, offset):
        return int((self._samples + offset) * 1000000 / self._sample_rate_hz) % TICKS_PERIOD_US

    def poll(self, may_rest):
        """Let a step of time pass if it is due."""
        now_us = wall_us()
        self._take_laptop()
        if now_us < self._due_us or self._must_wait(now_us):
            time.sleep(min(max(self._due_us - now_us, LEAST_REST_US), MOST_REST_US) / 1000000)
            return
        # Nobody is in a hurry before the first laptop comes.
        speed = self._speed if self._heard_wall_us else min(self._speed, 1.0)
        step_us = STEP_SAMPLES * 1000000 / (self._sample_rate_hz * speed)
        # A process that was held up does not make up for it in a burst.
        self._due_us = max(self._due_us + step_us, now_us - 20000)
        self._step()

    def _must_wait(self, now_us):
        if self._laptop is None or now_us - self._heard_wall_us > SILENT_WALL_US:
            return False
        return (self._samples - self._heard_at) * 1000000 / self._sample_rate_hz > AHEAD_US

    def _step(self):
        self._rig.send(struct.pack(REQUEST, self._outputs, 0, STEP_SAMPLES))
        inputs, edges, samples = struct.unpack(REPLY, self._read_rig(REPLY_BYTES))
        for _ in range(edges):
            self._note_edge(self._read_rig(EDGE_BYTES))
        if inputs & LINK_CUT:
            self._drop_laptop()
        self._inputs = inputs & ~LINK_CUT
        data = self._read_rig(2 * samples * self._channels)
        taken = 0
        while taken < len(data):
            count = min(len(data) - taken, len(self._partial) - self._filled)
            self._partial[self._filled : self._filled + count] = data[taken : taken + count]
            self._filled += count
            taken += count
            if self._filled == len(self._partial):
                self._complete_block(taken // (2 * self._channels))
        self._samples += samples

    def _complete_block(self, offset):
        self._filled = 0
        slot = self._history.claim()
        if slot < 0:
            return
        values = array("H", bytes(self._partial))
        self._put_values(self._history.frames[slot], self._partial, self._history.bits)
        step = self._channels  # MicroPython has no slices with steps
        first = values if step == 1 else [values[at] for at in range(0, len(values), step)]
        self._history.commit(self._stamp_us(offset), 0, 0, min(first), max(first))

    def _read_rig(self, count):
        data = b""
        while len(data) < count:
            more = self._rig.recv(count - len(data))
            if not more:
                raise SystemExit(0)  # the rehearsal is over
            data += more
        return data

    # Pins

    def inputs(self):
        """Input bits, see wire.INPUT_*."""
        return self._inputs

    def output(self, bits):
        """Set all outputs, see wire.OUTPUT_*; no pulse of the drive where the key was off."""
        if self._key_off and not self._outputs & DRIVE:
            bits &= ~DRIVE
        if not bits & (LAMP | FLASH):
            self._flash.watches = False
        self._outputs = bits

    def arm_flash(self):
        """From now on an opening of the release switch lights the flash."""
        self._flash.arm(self.ticks_us())

    def light_flash(self):
        """Light the flash now, where the switch has not."""
        if self._flash.is_lit_by_program(self.ticks_us()):
            self._place_edge(0.0, self._flash.bit, 0)

    def watch_key(self):
        """From now on an opening of the key is remembered."""
        self._key_off = False

    def key_was_off(self):
        """Whether the key was off at any moment since `watch_key`."""
        return self._key_off

    def lost_edges(self):
        """None is ever lost here."""
        return 0

    def _note_edge(self, packed):
        offset_64, bit, closed, _ = struct.unpack(EDGE, packed)
        if bit == KEY_ON:  # the interrupt of the key: one that moves was off
            self._key_off = True
            self._outputs &= ~DRIVE
        offset = offset_64 / 64
        self._place_edge(offset, bit, closed)
        if bit == LATCHED and self._flash.is_lit_by_edge(closed, self._stamp_us(offset)):
            self._place_edge(offset, self._flash.bit, 0)

    def _place_edge(self, offset, bit, closed):
        at = self._filled // (2 * self._channels) + int(offset + 0.5)
        block = self._history.head + at // self._per_block
        self._edges.append((bit, closed, block, at % self._per_block, self._stamp_us(offset)))

    def next_edge(self):
        """Fetch the next edge of an input into the edge_* attributes; False if none."""
        if not self._edges:
            return False
        one = self._edges.pop(0)
        self.edge_input, self.edge_closed, self.edge_block = one[0], one[1], one[2]
        self.edge_offset, self.edge_us = one[3], one[4]
        return True

    # Link

    def _heard(self):
        self._heard_at = self._samples
        self._heard_wall_us = wall_us()
