"""An RP2350 of the emulator rp2350js, Arm or RISC-V.

The chip runs in Node (rp2350.js), a slice of time at each word. What comes over pins,
converter and port is decided here.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import json
import os
import re
import subprocess
import time
import tty
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from typing import Any

from emulated.wiring import CONVERSION_NS, INPUT_PINS, OUTPUT_PINS, Wiring, flash_image

FILES_AT, BLOCKS = 0x100000, 768  # of the file system in a Pico 2's flash
START_S = 3  # emulated
SLICE_NS = 1_000_000
CHUNK = 512  # conversions: a step of the rig
FEW = 64  # conversions in hand: time for more
READ_BYTES = 4096
HERE = Path(__file__).parent
HOOKS = ("flash_range_erase", "flash_range_program")


def addresses(image: Path) -> list[int]:
    """Where the functions that write flash lie, by the linker's map beside the image."""
    text = image.with_suffix(".map").read_text(errors="replace")
    places = []
    for name in HOOKS:
        found = re.search(rf"^\s+0x0*([0-9a-f]+)\s+{name}$", text, re.MULTILINE)
        if found is None:
            raise SystemExit(f"{image.with_suffix('.map')} does not say where {name} is")
        places.append(int(found[1], 16))
    return places


class Rp2350(Wiring):
    """One board.

    Parameters
    ----------
    image : Path
        A build of MicroPython for RPI_PICO2; for RISC-V where its name says so.
    files : Path or None
        Folder with the files of its flash; None leaves it as it comes out of its box.
    emulator : Path
        Folder of rp2350js, built.
    say : callable
        See Wiring.
    """

    def __init__(
        self, image: Path, files: Path | None, emulator: Path, say: Callable[..., None]
    ) -> None:
        super().__init__(say)
        self._asked: dict[str, Any] = {}
        if files:
            data = base64.b64encode(flash_image(files, BLOCKS)).decode()
            self._asked["flash"] = [[FILES_AT, data]]
        self._moves = [[0, pin, 0, None] for pin in INPUT_PINS.values()]
        self._ns = 0.0
        self._left = self._room = 0
        self._in = self._out = b""
        architecture = "riscv" if "RISCV" in image.name else "arm"
        self._child = subprocess.Popen(
            [
                *("node", str(HERE / "rp2350.js"), str(emulator), str(image), architecture),
                *(str(place) for place in addresses(image)),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)

    async def start(self) -> str:
        """Switch it on; the name of its port, once the board is on the bus."""
        while not self._slice()["connected"]:
            if self.now_s() > START_S:
                raise SystemExit(f"the emulated board is not on the bus after {START_S} s")
            await asyncio.sleep(0)
        return os.ttyname(self._slave)

    async def run(self) -> None:
        """Let time pass, for ever; what is asked meanwhile comes between two slices."""
        began_s = time.monotonic() - self.now_s()
        while True:
            self._slice()
            # A board at rest is quicker than its own clock; the laptop has only that of the wall.
            await asyncio.sleep(max(0.0, self.now_s() - (time.monotonic() - began_s)))

    def stop(self) -> None:
        """Switch it off."""
        self._child.kill()

    def now_s(self) -> float:
        """Emulated time."""
        return self._ns / 1e9

    def move(self, pin: int, high: int, delay_ns: float = 0.0, *, counted: bool = False) -> None:
        """See Wiring."""
        self._moves.append([delay_ns, pin, high, counted])

    def set_port(self, is_open: bool) -> None:
        """See Wiring."""
        self._asked["dtr"] = int(is_open)

    def ahead_ns(self) -> float:
        """See Wiring."""
        return self._left * CONVERSION_NS

    def _slice(self) -> dict[str, Any]:
        with contextlib.suppress(BlockingIOError):
            self._in += os.read(self._master, READ_BYTES)
        taken, self._in = self._in[: self._room], self._in[self._room :]
        conversions = list(islice(self.values, CHUNK)) if self._left < FEW else []
        told = self._ask(
            for_ns=SLICE_NS,
            conversions=conversions,
            moves=self._moves,
            serial=base64.b64encode(taken).decode(),
            stalled=int(self.stalled),
        )
        self._moves = []
        self._ns, self._left, self._room = told["ns"], told["left"], told["room"]
        for ns in told["resets"]:
            self.say(t=ns / 1e9, reset=1)
        for ns, pin, high in told["changes"]:
            if pin in OUTPUT_PINS:
                self.output_changed(pin, high, ns / 1e9)
        for ns, pin, high, conversion, counted in told["moved"]:
            self.conversions = conversion
            if counted is not None:
                self.moved(pin, high, ns / 1e9, counted)
        self._out += base64.b64decode(told["serial"])
        with contextlib.suppress(BlockingIOError):
            self._out = self._out[os.write(self._master, self._out) :]
        return told

    def _ask(self, **more: Any) -> dict[str, Any]:
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        self._child.stdin.write(json.dumps(self._asked | more).encode() + b"\n")
        self._child.stdin.flush()
        self._asked = {}
        line = self._child.stdout.readline()
        if not line:
            raise SystemExit("the emulated chip has ended")
        told: dict[str, Any] = json.loads(line)
        return told
