"""Firmware, rig, line and laptop in one process, on one clock that the test moves on.

The firmware and the laptop's program are the real ones. The laptop's lives in a thread that runs
only while the board's time stands still, so that the same happenings give the same run.
"""

import itertools
import shutil
import threading
from collections import deque

import numpy as np

import config as real_config
import wire
from fakes.board import FakeBoard
from instrument import Instrument
from tautlog.errors import LinkError
from tautlog.record.journal import journal_path
from tautlog.rehearsal.rig import LINK_CUT

_TOKENS = itertools.count(1)  # never one twice, whichever board gives it


class SlowConfig:
    """The firmware's config at a rate that makes a test quick, and with less patience."""

    CONVERSION_RATE_HZ = 80_000  # 10 kS/s
    SAMPLES_PER_BLOCK = 128
    HISTORY_BLOCKS = 70  # 0.9 s, as the memory of an RP2040 at its own rate
    GUARD_AFTER_S = 0.5
    QUIET_BLOCKS = 8
    ARMED_LONGEST_S = 15
    RECORDING_LONGEST_S = 5
    COPY_AFTER_S = 3
    EVENT_FILE = ""


def config_of(cls=SlowConfig, **changes):
    """The firmware's config with the changes of a class."""
    plain = {name: value for name, value in vars(real_config).items() if name.isupper()}
    own = {name: value for name, value in vars(cls).items() if name.isupper()}
    return type("Config", (), plain | own | changes)


class SteppedBoard(FakeBoard):
    """A strict board whose converter and pins are wired to a simulated rig.

    Attributes
    ----------
    ram : bytearray
        What a reset spares.
    taken : dict of int to ndarray, shape (samples, channels)
        Samples of every block that was ever completed.
    """

    def __init__(self, rig, config, send, start_us=0):
        super().__init__(start_us=start_us)
        self._rig, self._send = rig, send
        self.bounce_ms = config.RELEASE_BOUNCE_MS
        self._per_block = config.SAMPLES_PER_BLOCK
        channels = len(config.CHANNELS)
        self._sample_us = 1e6 * config.REDUCTION * channels / config.CONVERSION_RATE_HZ
        self._samples = 0
        self._partial = np.zeros((0, len(config.CHANNELS)), np.uint16)
        self.ram = bytearray()
        self.taken = {}
        self.token = b""

    def name(self):
        return "virtual board under CPython, stepped"

    def serial(self):
        return "rehearsal"

    def memory(self, count):
        self.ram = bytearray(count)
        return self.ram

    def random_bytes(self, count):
        self.token = next(_TOKENS).to_bytes(count, "big")
        return self.token

    def write(self, view, start, end):
        self._send(bytes(view[start:end]))
        return end - start

    def advance(self, count):
        """Let time pass; whether the cable is pulled in it."""
        step = self._rig.advance(count, self.outputs)
        begun_us = self._start_us + self._samples * self._sample_us
        for edge in step.edges:
            self.now_us = round(begun_us + edge.offset * self._sample_us)
            self._offset = round(edge.offset)
            self.move(edge.input, bool(edge.closed))
        self._samples += count
        data = np.concatenate([self._partial, step.counts.reshape(count, -1)])
        while len(data) >= self._per_block:
            self._complete(data[: self._per_block])
            data = data[self._per_block :]
        self._partial = data
        self._offset = 0
        self.now_us = round(begun_us + count * self._sample_us)
        self.closed = step.inputs & ~LINK_CUT
        return bool(step.inputs & LINK_CUT)

    def _complete(self, values):
        slot = self.history.claim()
        if slot < 0:
            return
        self.taken[self.history.head] = values
        first = values[:, 0]
        wire.put_values(self.history.frames[slot], values.tobytes(), self.history.bits)
        stamp_us = round(self._start_us + self._samples * self._sample_us) % wire.TICKS_PERIOD_US
        self.history.commit(stamp_us, 0, 0, int(first.min()), int(first.max()))

    def light_flash(self):
        self._place(wire.EDGE_FLASH, 0)

    def move(self, bit, closed):
        self.closed = self.closed & ~bit | (bit if closed else 0)
        self._place(bit, int(closed))
        if bit == wire.INPUT_LATCHED:
            self._light(closed)
        if bit == wire.INPUT_KEY_ON:  # the interrupt of the key: one that moves was off
            self._key_was_off = True
            self._drive(0)

    def _light(self, closed):
        if closed:
            self.closed_us = self.now_us
        elif self.flash_armed and self.now_us - self.closed_us > 1000 * self.bounce_ms:
            self._place(wire.EDGE_FLASH, 0)

    def _place(self, bit, closed):
        at = len(self._partial) + self._offset
        block, offset = divmod(at, self._per_block)
        self._edges.append((bit, closed, self.history.head + block, offset, self.now_us))

    def next_edge(self):
        if not self._edges:
            return False
        bit, closed, block, offset, at_us = self._edges.popleft()
        self.edge_input, self.edge_closed = bit, closed
        self.edge_block, self.edge_offset = block, offset
        self.edge_us = at_us % wire.TICKS_PERIOD_US
        return True

    _offset = 0


class Line:
    """One way of a cable: what is put on it arrives later, twice, damaged or never, in order.

    Attributes
    ----------
    loss, damage, twice : float
        Chance of a piece to be lost, to have a flipped bit, to come twice.
    delay_us : int
        The longest delay.
    """

    def __init__(self, chance):
        self._chance = chance
        self._under_way = deque()
        self._due_us = 0
        self.fine()

    def fine(self):
        """No faults any more."""
        self.loss = self.damage = self.twice = 0.0
        self.delay_us = 0

    def put(self, data, now_us):
        chance = self._chance
        if chance.random() < self.loss:
            return
        for _ in range(1 + (chance.random() < self.twice)):
            piece = bytearray(data)
            if chance.random() < self.damage:
                piece[chance.randrange(len(piece))] ^= 1 << chance.randrange(8)
            self._due_us = max(self._due_us, now_us + chance.randint(0, self.delay_us))
            self._under_way.append((self._due_us, bytes(piece)))

    def take(self, now_us):
        data = b""
        while self._under_way and self._under_way[0][0] <= now_us:
            data += self._under_way.popleft()[1]
        return data

    def clear(self):
        self._under_way.clear()
        self._due_us = 0


class Killed(BaseException):
    """The laptop's program was killed."""


class Laptop:
    """The laptop's program, which runs while the board's time stands still; also its link.

    Parameters
    ----------
    world : object
        Has ``now_us``, ``to_board`` and ``to_laptop``, `Line`s, and ``heard(data)``, which is told
        of every frame that is sent.
    does : callable
        Gets this link; a drop, or a recovery.
    folder : Path
        Where it writes; a kill leaves it as it is at that moment.
    """

    def __init__(self, world, does, folder):
        self._world, self._does, self._folder = world, does, folder
        self._go, self._back = threading.Semaphore(0), threading.Semaphore(0)
        self._killed = False
        self.cable_in = True
        self.ended = False
        self.result = self.problem = None
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()
        self._back.acquire()

    def _live(self):
        try:
            self.result = self._does(self)
        except Killed:
            pass
        except BaseException as problem:  # whatever a user would see
            self.problem = problem
        self.ended = True
        self._back.release()

    def turn(self):
        """Let it read once, and do what it does then."""
        if not self.ended:
            self._go.release()
            self._back.acquire()

    def kill(self):
        """End it as SIGKILL does: what is on disk now stays as it is."""
        if self.ended:
            return
        kept = {path: path.read_bytes() for path in self._folder.iterdir()}
        self._killed = True
        while not self.ended:
            self.turn()
        for path in set(self._folder.iterdir()) - set(kept):
            path.unlink()
        for path, content in kept.items():
            path.write_bytes(content)

    # What a session calls

    def clock(self):
        return self._world.now_us / 1e6

    def read(self):
        self._back.release()
        self._go.acquire()
        if self._killed:
            raise Killed
        self._must_be_in()
        return self._world.to_laptop.take(self._world.now_us)

    def write(self, data):
        if self._killed:
            raise Killed
        self._must_be_in()
        self._world.heard(data)
        self._world.to_board.put(data, self._world.now_us)

    def _must_be_in(self):
        if not self.cable_in:
            raise LinkError("the cable is out: check it, then `tautlog recover`")

    def close(self):
        pass


def instrument_on(rig, config, send, start_us=0):
    """A board at power-up, and its firmware."""
    board = SteppedBoard(rig, config, send, start_us)
    return board, Instrument(board, config)


def copied(path, folder):
    """A copy of a record and of its journal, as they are on disk now."""
    copy = folder / "copy.h5"
    for source, target in ((path, copy), (journal_path(path), journal_path(copy))):
        target.unlink(missing_ok=True)
        if source.exists():
            shutil.copyfile(source, target)
    return copy
