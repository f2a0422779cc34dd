"""An emulated board with real MicroPython, wired to a simulated rig, as a process.

    python emulator.py --image RPI_PICO.uf2 [--files FOLDER] [--source ramp|level|rig|ramp-of-pin]
                       [--three-wire CONVERSION_NS]

The chip is that of the image: RPI_PICO runs on rp2040py, RPI_PICO2 and RPI_PICO2-RISCV on
rp2350js, whose folder TAUTLOG_RP2350_EMULATOR names. Its serial port is a pseudo-terminal.
Speaks JSON lines: tells on standard output the port's name and every change of an output
with the emulated time; takes on standard input ``{"pin": 11, "level": 1}``, ``{"stall":
1}`` (the converter stops), ``{"value": 50, "noisy": 0}`` (of the source `level`),
``{"spike": 12}`` (the release switch opens for 100 us as soon as the drive is high, and for
good so many milliseconds later), ``{"dtr": 0}`` (nobody has the port open), ``{"time":
1}``, ``{"truth": 0}``, ``{"beats": 1}`` (when the heartbeat's pin moved).

On the RP2040 only: with --three-wire the source feeds a 16-bit converter on pins 19 to 21
instead of the chip's, which takes ``{"converter": {"stuck": 1}}`` (see three_wire.py); the
source `ramp-of-pin` is GP9 through R and C.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from emulated.three_wire import strides
from emulated.wiring import REDUCTION, Level, Wiring, ramp
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene, with_sixteen_bits


def say(**what: object) -> None:
    """Tell it as a line of JSON."""
    print(json.dumps(what), flush=True)


def chip_of(arguments: argparse.Namespace) -> Any:
    """The chip of an image, off."""
    if "PICO2" in arguments.image.name:
        from emulated.rp2350 import Rp2350

        emulator = Path(os.environ["TAUTLOG_RP2350_EMULATOR"])
        return Rp2350(arguments.image, arguments.files, emulator, say)
    from emulated.rp2040 import Rp2040

    return Rp2040(arguments.image, arguments.files, say)


class Desk:
    """Whoever drives the board's surroundings.

    Parameters
    ----------
    chip : Wiring
        What the board runs on.
    rig : SimulatedRig
        Of the source `rig`.
    """

    def __init__(self, chip: Wiring, rig: SimulatedRig) -> None:
        self._chip = chip
        self._rig = rig
        self._level = Level()

    def plug_in(self, source: str) -> None:
        """Wire a source to the converter."""
        sources = {
            "ramp": ramp,
            "level": self._level.conversions,
            "rig": lambda: self._chip.rig(self._rig),
            "ramp-of-pin": lambda: self._chip.ramp_of_pin(),
        }
        if self._chip.is_wide:
            sources["ramp"] = strides
        self._chip.values = sources[source]()

    def do(self, asked: dict[str, Any]) -> bool:
        """Do what one line asks; False when it is the last."""
        chip = self._chip
        if "pin" in asked:
            chip.move(asked["pin"], asked["level"])
        elif "shake" in asked:
            chip.shake(asked["shake"], asked["edges"], asked.get("seed", 1))
        elif "stall" in asked:
            chip.stalled = bool(asked["stall"])
        elif "value" in asked:
            self._level.value, self._level.noisy = asked["value"], bool(asked["noisy"])
        elif "spike" in asked:
            chip.spike_ms = asked["spike"]
        elif "dtr" in asked:
            chip.set_port(bool(asked["dtr"]))
        elif "converter" in asked:
            one = chip.three_wire
            one.change(**asked["converter"])
            say(conversions=one.conversions, hurried=one.hurried, cut_short=one.cut_short)
        elif "beats" in asked:
            say(beats=chip.beats)
        elif "truth" in asked:
            say(truth=self._rig.truth(asked["truth"]))
        elif "time" in asked:
            say(t=chip.now_s())
        else:
            return False
        return True


async def run(arguments: argparse.Namespace) -> None:
    """Switch the board on and do what is asked."""
    scene = default_scene()
    if arguments.fault:
        scene = FAULTS[arguments.fault].change(scene)
    chip = chip_of(arguments)
    if arguments.three_wire:
        scene = with_sixteen_bits(scene)
        chip.add_three_wire(arguments.three_wire)
    rig = SimulatedRig(
        scene,
        sample_rate_hz=1e9 / (chip.conversion_ns * REDUCTION),
        seed=arguments.seed,
        by_hand=arguments.by_hand,
    )
    desk = Desk(chip, rig)
    desk.plug_in(arguments.source)
    say(port=await chip.start(), t=chip.now_s())
    running = asyncio.create_task(chip.run())
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        if not desk.do(json.loads(line)):
            break
    running.cancel()
    chip.stop()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--image", type=Path, required=True)
    parser.add_argument("--files", type=Path)
    sources = ["ramp", "level", "rig", "ramp-of-pin"]
    parser.add_argument("--source", choices=sources, default="level")
    parser.add_argument("--three-wire", type=float, metavar="CONVERSION_NS")
    parser.add_argument("--fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--by-hand", action="store_true")
    asyncio.run(run(parser.parse_args()))


if __name__ == "__main__":
    main()
