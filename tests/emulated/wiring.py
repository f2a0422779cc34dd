"""What is wired to an emulated chip, whichever it is: sources, a rig, contacts that move."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

from littlefs import LittleFS, UserContext

from tautlog.firmware import wire
from tautlog.rehearsal.rig import SimulatedRig

BLOCK_BYTES = 4096  # of the file system in a board's flash
INPUT_PINS = {
    wire.INPUT_LATCHED: 10,
    wire.INPUT_KEY_ON: 11,
    wire.INPUT_ARTICLE_WHOLE: 15,
    wire.INPUT_MOUNT_WHOLE: 16,
}
OUTPUT_PINS = {
    12: wire.OUTPUT_DRIVE,
    14: wire.OUTPUT_LAMP,
    17: wire.OUTPUT_FLASH,
    13: wire.OUTPUT_SHUNT,
    18: wire.OUTPUT_BEAT,
}
BEAT_PIN = 18
FLASH_PIN = 17
REDUCTION = 8  # of the simulated rig's samples
STEP_SAMPLES = 64
CONVERSION_NS = 2000


def flash_image(folder: Path, blocks: int) -> bytes:
    """A file system of so many blocks with the files of a folder and its subfolders."""
    files = LittleFS(
        context=UserContext(buffsize=BLOCK_BYTES * blocks),
        block_size=BLOCK_BYTES,
        block_count=blocks,
        prog_size=256,
        disk_version=0x00020000,
    )
    for source in sorted(one for one in folder.rglob("*") if one.is_file()):
        name = source.relative_to(folder).as_posix()
        if "/" in name:
            files.makedirs(name.rpartition("/")[0], exist_ok=True)
        with files.open(name, "wb") as target:
            target.write(source.read_bytes())
    files.unmount()
    return bytes(files.context.buffer)


def ramp() -> Iterator[int]:
    """Conversions that count up: a lost one shows."""
    value = 0
    while True:
        yield value
        value = (value + 1) & 0xFFF


class Level:
    """A quiet signal: a level that may be moved, with the noise of an amplifier on it."""

    def __init__(self) -> None:
        self.value = 560
        source = random.Random(5)
        self._noise = [round(source.gauss(0.0, 2.0)) for _ in range(4093)]
        self.noisy = True

    def conversions(self) -> Iterator[int]:
        while True:
            for one in self._noise:
                yield self.value + one * self.noisy


class Wiring:
    """Pins and converter of a chip; what is its own is left to a subclass.

    Parameters
    ----------
    say : callable
        Takes what is told, as keywords.

    Attributes
    ----------
    outputs : int
        Bits of the outputs that are high, see wire.OUTPUT_*.
    conversions : int
        Conversions taken so far.
    stalled : bool
        The converter has stopped.
    spike_ms : float
        So long after the drive has risen the switch opens for good; 0: as the rig says.
    values : iterator of int
        What the converter reads.
    is_wide : bool
        It is one of 16 bits, whose samples are means and not sums.
    conversion_ns : float
        Time from one conversion to the next.
    beats : list of (float, int)
        When the heartbeat's pin moved, and its level.
    """

    def __init__(self, say: Callable[..., None]) -> None:
        self.say = say
        self.outputs = 0
        self.conversions = 0
        self.stalled = False
        self.spike_ms = 0.0
        self.values: Iterator[int] = iter(())
        self.is_wide = False
        self.conversion_ns = float(CONVERSION_NS)
        self.beats: list[tuple[float, int]] = []

    def now_s(self) -> float:
        """Emulated time."""
        raise NotImplementedError

    def move(self, pin: int, high: int, delay_ns: float = 0.0, *, counted: bool = False) -> None:
        """Set an input, now or later, and tell it; `counted` with the conversion of that time."""
        raise NotImplementedError

    def set_port(self, is_open: bool) -> None:
        """Whether a program of the laptop has the port open (DTR)."""
        raise NotImplementedError

    def read_back(self, pin: int, high: int) -> None:
        """A pad reads back what it drives; where the emulator does that, nothing is to do."""

    def ahead_ns(self) -> float:
        """Time until the conversion that is asked of `values` next is taken."""
        return 0.0

    def output_changed(self, pin: int, high: int, time_s: float) -> None:
        """To be called with every change of an output."""
        bit = OUTPUT_PINS.get(pin)
        if bit is None:
            return
        self.outputs = self.outputs & ~bit | (bit if high else 0)
        if bit == wire.OUTPUT_DRIVE and high and self.spike_ms:
            self.spike()
        if pin == FLASH_PIN:
            self.read_back(pin, high)
        if pin == BEAT_PIN:  # the heartbeat would drown the rest
            self.beats.append((time_s, high))
        else:
            self.say(t=time_s, pin=pin, level=high)

    def moved(self, pin: int, high: int, time_s: float, counted: bool) -> None:
        """To be called when an input was set."""
        more = {"conversion": self.conversions} if counted else {}
        self.say(t=time_s, pin=pin, level=high, **more)

    def rig(self, rig: SimulatedRig) -> Iterator[int]:
        """Conversions of a simulated rig; its switches move with emulated time."""
        while True:
            ahead_ns = self.ahead_ns()
            step = rig.advance(STEP_SAMPLES, self.outputs)
            for edge in step.edges:
                delay_ns = ahead_ns + edge.offset * REDUCTION * self.conversion_ns
                self.move(INPUT_PINS[edge.input], 1 - edge.closed, delay_ns)
            for count in step.counts.tolist():
                low, more = divmod(count, REDUCTION)
                for place in range(REDUCTION):
                    yield count if self.is_wide else low + (place < more)

    def shake(self, pin: int, edges: int, seed: int) -> None:
        """Open and close a contact at random times, 0.2 to 3 ms apart, and tell where."""
        source = random.Random(seed)
        delay_ns = 0.0
        for number in range(edges):
            delay_ns += source.uniform(200_000, 3_000_000)
            self.move(pin, 1 - number % 2, delay_ns, counted=True)

    def spike(self) -> None:
        """The coil's field shakes the switch; the latch lets go later."""
        pin = INPUT_PINS[wire.INPUT_LATCHED]
        for at_us, high in ((20.0, 1), (120.0, 0), (1000.0 * self.spike_ms, 1)):
            self.move(pin, high, 1000.0 * at_us, counted=True)
