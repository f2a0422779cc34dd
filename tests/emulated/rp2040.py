"""An RP2040 of the emulator rp2040py, which runs in this process."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from rp2040py.boards import BOARDS, resolve_firmware
from rp2040py.cli.pty_repl import PtyInteractiveRepl
from rp2040py.device import MicroPythonDevice

from emulated.ramp_of_pin import RampOfPin
from emulated.three_wire import ThreeWireConverter
from emulated.wiring import (
    BEAT_PIN,
    CONVERSION_NS,
    FLASH_PIN,
    INPUT_PINS,
    OUTPUT_PINS,
    Wiring,
    flash_image,
)

BLOCKS = 352  # of the file system in a Pico's flash
START_S = 60
WIDE_CONVERSION_NS = 10_000.0  # of a rig with a 16-bit converter: 100 kS/s
THREE_WIRES = (19, 20, 21)  # start, clock, data


class Rp2040(Wiring):
    """One board.

    Parameters
    ----------
    image : Path
        A build of MicroPython for RPI_PICO.
    files : Path or None
        Folder with the files of its flash.
    say : callable
        See Wiring.
    """

    def __init__(self, image: Path, files: Path | None, say: Callable[..., None]) -> None:
        super().__init__(say)
        board = resolve_firmware(BOARDS["pico"], "micropython", str(image))
        with tempfile.TemporaryDirectory() as folder:
            flash = Path(folder) / "files"
            flash.write_bytes(flash_image(files or Path(folder), BLOCKS))
            self._device = MicroPythonDevice(board=board, filesystem=flash)
        self._mcu = self._device.mcu
        self._clock = self._device.simulator.clock
        self._alarms: list[object] = []
        for pin in INPUT_PINS.values():
            self._mcu.gpio[pin].set_input_value(False)
        for pin in OUTPUT_PINS:
            self._listen(pin)
        self._mcu.adc.on_adc_read = self._convert

    def add_three_wire(self, conversion_ns: float) -> None:
        """A 16-bit converter takes the place of the chip's own."""
        self.is_wide, self.conversion_ns = True, WIDE_CONVERSION_NS

        def counted() -> Iterator[int]:
            while True:
                self.conversions += 1
                yield next(self.values)

        self.three_wire = ThreeWireConverter(
            self._mcu, self._clock, THREE_WIRES, counted(), conversion_ns
        )

    def ramp_of_pin(self) -> Iterator[int]:
        """See RampOfPin."""
        return RampOfPin(self._clock, self._mcu.pwm.channels[4]).conversions()

    async def start(self) -> str:
        """Switch it on; the name of its port."""
        self._device.simulator.bind_loop()
        repl = PtyInteractiveRepl(
            self._device.cdc, self._device.simulator, on_quit=lambda code: None
        )
        await repl.start()
        await self._device.astart(START_S)
        return str(repl.slave_path)

    async def run(self) -> None:
        """It runs by itself."""
        await asyncio.Event().wait()

    def stop(self) -> None:
        """Switch it off."""
        self._device.stop()

    def now_s(self) -> float:
        """Emulated time."""
        return float(self._clock.nanos) / 1e9

    def move(self, pin: int, high: int, delay_ns: float = 0.0, *, counted: bool = False) -> None:
        """See Wiring."""

        def set_it() -> None:
            self._mcu.gpio[pin].set_input_value(bool(high))
            self.moved(pin, high, self.now_s(), counted)

        if delay_ns <= 0.0:
            set_it()
            return
        alarm = self._clock.create_alarm(set_it)
        self._alarms.append(alarm)
        alarm.schedule(delay_ns)

    def set_port(self, is_open: bool) -> None:
        """See Wiring."""
        self._device.cdc.set_control_lines(dtr=is_open, rts=is_open)

    def read_back(self, pin: int, high: int) -> None:
        """See Wiring."""
        self._mcu.gpio[pin].set_input_value(bool(high))

    def _listen(self, pin: int) -> None:
        def changed(now: object, before: object) -> None:
            self.output_changed(pin, int(int(now) == 1), self.now_s())
            # The emulator tells what a state machine does while one runs, and not what it is
            # made to do by hand afterwards: so it is asked with every other output.
            for other in (BEAT_PIN, FLASH_PIN):
                if pin not in (BEAT_PIN, FLASH_PIN):
                    self._mcu.gpio[other].check_for_updates()

        self._mcu.gpio[pin].add_listener(changed)

    def _convert(self, channel: int) -> None:
        if self.stalled:
            return
        adc = self._mcu.adc
        adc.channel_values[channel] = next(self.values)
        self.conversions += 1
        adc.current_channel = channel
        adc.sample_alarm.schedule(CONVERSION_NS)
