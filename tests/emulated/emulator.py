"""An emulated RP2040 with real MicroPython, wired to a simulated rig, as a process.

    python emulator.py --image RPI_PICO.uf2 [--files FOLDER] [--source ramp|level|rig|ramp-of-pin]

Its serial port is a pseudo-terminal. Speaks JSON lines: tells on standard output
the port's name and every change of an output with the emulated time; takes on
standard input ``{"pin": 11, "level": 1}``, ``{"stall": 1}`` (the converter stops),
``{"value": 50, "noisy": 0}`` (of the source `level`), ``{"spike": 12}`` (the release switch
opens for 100 us as soon as the drive is high, and for good so many milliseconds later),
``{"dtr": 0}`` (nobody has the port open), ``{"time": 1}``, ``{"truth": 0}``.
"""

from __future__ import annotations

import argparse
import asyncio
import bisect
import json
import math
import random
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from littlefs import LittleFS, UserContext
from rp2040py.boards import BOARDS, resolve_firmware
from rp2040py.cli.pty_repl import PtyInteractiveRepl
from rp2040py.device import MicroPythonDevice

from tautlog.firmware import wire
from tautlog.model.linearity import published_linearity
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

BLOCK_BYTES, BLOCKS = 4096, 352  # of the file system in a Pico's flash
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
REDUCTION = 8  # of the simulated rig's samples
STEP_SAMPLES = 64
CONVERSION_NS = 2000
RAMP_TAU_NS = 2.5e6  # a fast R and C, for short ramps


def flash_image(folder: Path | None, path: Path) -> None:
    """Write a file system with the files of a folder and its subfolders."""
    files = LittleFS(
        context=UserContext(buffsize=BLOCK_BYTES * BLOCKS),
        block_size=BLOCK_BYTES,
        block_count=BLOCKS,
        prog_size=256,
        disk_version=0x00020000,
    )
    found = folder.rglob("*") if folder else []
    for source in sorted(one for one in found if one.is_file()):
        name = source.relative_to(folder).as_posix()
        if "/" in name:
            files.makedirs(name.rpartition("/")[0], exist_ok=True)
        with files.open(name, "wb") as target:
            target.write(source.read_bytes())
    files.unmount()
    path.write_bytes(bytes(files.context.buffer))


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


class RampOfPin:
    """GP9's pulse width through R and C, read by a converter with the published steps."""

    def __init__(self, device: MicroPythonDevice) -> None:
        self._clock = device.simulator.clock
        self._slice = device.mcu.pwm.channels[4]  # of GP8 and GP9
        linearity = published_linearity("RP2040")
        self._transitions = linearity.transitions.tolist()
        source = random.Random(7)
        self._noise = [source.gauss(0.0, linearity.noise_steps) for _ in range(65521)]

    def conversions(self) -> Iterator[int]:
        level, before_ns = 0.0, self._clock.nanos
        while True:
            for noise in self._noise:
                now_ns, pulses = self._clock.nanos, self._slice
                target = 4120.0 * (pulses.cc >> 16) / (pulses.top + 1) - 12.0
                level += (target - level) * -math.expm1((before_ns - now_ns) / RAMP_TAU_NS)
                before_ns = now_ns
                yield bisect.bisect(self._transitions, level + noise)


class Wiring:
    """Pins and converter of the emulated chip."""

    def __init__(self, device: MicroPythonDevice, say: Callable[..., None]) -> None:
        self._mcu = device.mcu
        self._clock = device.simulator.clock
        self._say = say
        self.outputs = 0
        self.conversions = 0
        self.stalled = False
        self._alarms: list[object] = []
        self.spike_ms = 0.0
        for pin in INPUT_PINS.values():
            self.set_input(pin, 0)
        for number, bit in OUTPUT_PINS.items():
            self._listen(number, bit)

    def _listen(self, number: int, bit: int) -> None:
        def changed(now: object, before: object) -> None:
            high = int(now) == 1
            self.outputs = self.outputs & ~bit | (bit if high else 0)
            if bit == wire.OUTPUT_DRIVE and high and self.spike_ms:
                self.spike()
            if number != 18:  # the heartbeat would drown the rest
                self._say(t=self._clock.nanos / 1e9, pin=number, level=int(high))

        self._mcu.gpio[number].add_listener(changed)

    def set_input(self, pin: int, high: int) -> None:
        self._mcu.gpio[pin].set_input_value(bool(high))

    def at(self, delay_ns: float, call: Callable[[], None]) -> None:
        alarm = self._clock.create_alarm(call)
        self._alarms.append(alarm)
        alarm.schedule(delay_ns)

    def feed(self, values: Iterator[int]) -> None:
        """Give the converter one value after another."""
        adc = self._mcu.adc

        def read(channel: int) -> None:
            if self.stalled:
                return  # a converter that has stopped
            adc.channel_values[channel] = next(values)
            self.conversions += 1
            adc.current_channel = channel
            adc.sample_alarm.schedule(CONVERSION_NS)

        adc.on_adc_read = read

    def rig(self, rig: SimulatedRig) -> Iterator[int]:
        """Conversions of a simulated rig; its switches move with emulated time."""
        while True:
            step = rig.advance(STEP_SAMPLES, self.outputs)
            for edge in step.edges:
                self._schedule(edge.input, edge.closed, edge.offset)
            for count in step.counts.tolist():
                low, more = divmod(count, REDUCTION)
                for place in range(REDUCTION):
                    yield low + (place < more)

    def shake(self, pin: int, edges: int, seed: int) -> None:
        """Open and close a contact at random times, 0.2 to 3 ms apart, and tell where."""
        source = random.Random(seed)
        delay_ns = 0.0
        for number in range(edges):
            delay_ns += source.uniform(200_000, 3_000_000)
            high = 1 - number % 2

            def move(high: int = high) -> None:
                self.set_input(pin, high)
                self._say(pin=pin, level=high, conversion=self.conversions)

            self.at(delay_ns, move)

    def spike(self) -> None:
        """The coil's field shakes the switch; the latch lets go later."""
        pin = INPUT_PINS[wire.INPUT_LATCHED]

        def move(high: int) -> None:
            self.set_input(pin, high)
            self._say(pin=pin, level=high, conversion=self.conversions)

        for at_us, high in ((20.0, 1), (120.0, 0), (1000.0 * self.spike_ms, 1)):
            self.at(1000.0 * at_us, lambda high=high: move(high))

    def _schedule(self, bit: int, closed: int, offset: float) -> None:
        pin = INPUT_PINS[bit]

        def move() -> None:
            self.set_input(pin, 1 - closed)
            self._say(t=self._clock.nanos / 1e9, pin=pin, level=1 - closed)

        self.at(offset * REDUCTION * CONVERSION_NS, move)


async def run(arguments: argparse.Namespace) -> None:
    def say(**what: object) -> None:
        print(json.dumps(what), flush=True)

    board = resolve_firmware(BOARDS["pico"], "micropython", str(arguments.image))
    with tempfile.TemporaryDirectory() as folder:
        image = Path(folder) / "files"
        flash_image(arguments.files, image)
        device = MicroPythonDevice(board=board, filesystem=image)
    wiring = Wiring(device, say)
    scene = default_scene()
    if arguments.fault:
        scene = FAULTS[arguments.fault].change(scene)
    rig = SimulatedRig(scene, seed=arguments.seed, by_hand=arguments.by_hand)
    level = Level()
    sources = {"ramp": ramp, "level": level.conversions, "rig": lambda: wiring.rig(rig)}
    sources["ramp-of-pin"] = lambda: RampOfPin(device).conversions()
    wiring.feed(sources[arguments.source]())
    device.simulator.bind_loop()
    repl = PtyInteractiveRepl(device.cdc, device.simulator, on_quit=lambda code: None)
    await repl.start()
    await device.astart(60)
    say(port=repl.slave_path, t=device.simulator.clock.nanos / 1e9)
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        asked = json.loads(line)
        if "pin" in asked:
            wiring.set_input(asked["pin"], asked["level"])
            say(t=device.simulator.clock.nanos / 1e9, pin=asked["pin"], level=asked["level"])
        elif "shake" in asked:
            wiring.shake(asked["shake"], asked["edges"], asked.get("seed", 1))
        elif "stall" in asked:
            wiring.stalled = bool(asked["stall"])
        elif "value" in asked:
            level.value, level.noisy = asked["value"], bool(asked["noisy"])
        elif "spike" in asked:
            wiring.spike_ms = asked["spike"]
        elif "dtr" in asked:
            device.cdc.set_control_lines(dtr=asked["dtr"], rts=asked["dtr"])
        elif "truth" in asked:
            say(truth=rig.truth(asked["truth"]))
        elif "time" in asked:
            say(t=device.simulator.clock.nanos / 1e9)
        else:
            break
    device.stop()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--image", type=Path, required=True)
    parser.add_argument("--files", type=Path)
    parser.add_argument(
        "--source", choices=["ramp", "level", "rig", "ramp-of-pin"], default="level"
    )
    parser.add_argument("--fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--by-hand", action="store_true")
    asyncio.run(run(parser.parse_args()))


if __name__ == "__main__":
    main()
