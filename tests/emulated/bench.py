"""One emulated board as tests use it: started, driven, watched, talked to."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import serial

from tautlog.board.compiled import firmware_files, firmware_numbers
from tautlog.board.folded import fold

HERE = Path(__file__).parent
CACHE = Path.home() / ".cache" / "rp2040py"
# The image of each chip, and what its files are compiled for.
CHIPS = {
    "rp2040": ("RPI_PICO", "armv6m"),
    "rp2350": ("RPI_PICO2", "armv7emsp"),
    "rp2350-riscv": ("RPI_PICO2-RISCV", "rv32imc"),
}
NO_IMAGE = (
    "no RPI_PICO image of MicroPython 1.28 or later: set TAUTLOG_BOARD_IMAGE to one, or let "
    "`rp2040py micropython --image 1.28.0` download it"
)


def find_image(chip: str) -> tuple[Path | None, str]:
    """The image to run, or None and why there is none.

    That of RP2040 is TAUTLOG_BOARD_IMAGE, else one that the emulator downloaded; the others,
    with their linker's maps, lie beside it.
    """
    named = os.environ.get("TAUTLOG_BOARD_IMAGE")
    if chip == "rp2040":
        found = Path(named) if named else _downloaded()
        return found, NO_IMAGE
    if not os.environ.get("TAUTLOG_RP2350_EMULATOR"):
        return None, "no emulated RP2350: set TAUTLOG_RP2350_EMULATOR (see DEVELOPERS.md)"
    beside = (Path(named).parent if named else CACHE) / f"{CHIPS[chip][0]}.uf2"
    if not beside.exists() or not beside.with_suffix(".map").exists():
        return None, f"no image for {chip}: put {beside.name} and its .map beside RPI_PICO's"
    return beside, ""


def march_of(image: Path) -> str:
    """What files are compiled for that run on an image."""
    return next((march for name, march in CHIPS.values() if name == image.stem), "armv6m")


def _downloaded() -> Path | None:
    found = [one for one in CACHE.glob("**/*RPI_PICO*.uf2") if "1.2" in one.name]
    return max((one for one in found if _version(one) >= (1, 28)), default=None, key=_version)


def _version(path: Path) -> tuple[int, ...]:
    for part in path.stem.replace("-", "_").split("_"):
        numbers = part.lstrip("v").split(".")
        if len(numbers) >= 2 and all(one.isdigit() for one in numbers):
            return tuple(int(one) for one in numbers)
    return (0,)


def board_files(target: Path, march: str = "armv6m", **changes: object) -> Path:
    """Put the firmware into a folder as it lies on a board; `changes` go into its config.py."""
    for name, data in firmware_files(march).items():
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    with open(target / "config.py", "a") as file:
        file.writelines(f"{name} = {value!r}\n" for name, value in changes.items())
    return target


class EmulatedBoard:
    """A running emulator; a context manager.

    Attributes
    ----------
    port : str
        The pseudo-terminal.
    lines : list of dict
        What the emulator told: changes of pins with emulated seconds `t`.
    """

    def __init__(self, image: Path, files: Path | None, source: str = "level", *more: str) -> None:
        command = [sys.executable, str(HERE / "emulator.py"), "--image", str(image)]
        command += ["--source", source, *more]
        command += ["--files", str(files)] if files else []
        self._child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.lines: list[dict[str, object]] = []
        self._came = threading.Condition()
        threading.Thread(target=self._read, daemon=True).start()
        self.port = str(self.wait(lambda line: "port" in line, 300)["port"])

    def _read(self) -> None:
        assert self._child.stdout is not None
        for line in self._child.stdout:
            with self._came:
                self.lines.append(json.loads(line))
                self._came.notify_all()

    def wait(self, what, timeout_s: float = 120, after: int = 0) -> dict[str, object]:
        """The first line told that is `what`, from number `after` on."""
        deadline = time.monotonic() + timeout_s
        with self._came:
            while True:
                for line in self.lines[after:]:
                    if what(line):
                        return line
                left = deadline - time.monotonic()
                if left <= 0 or self._child.poll() is not None:
                    raise AssertionError(f"the emulator did not tell it; last: {self.lines[-5:]}")
                self._came.wait(min(left, 1.0))

    def tell(self, **what: object) -> None:
        """Drive a pin, or ask for something."""
        assert self._child.stdin is not None
        self._child.stdin.write(json.dumps(what) + "\n")
        self._child.stdin.flush()

    def now_s(self) -> float:
        """Emulated time."""
        after = len(self.lines)
        self.tell(time=1)
        return float(self.wait(lambda line: set(line) == {"t"}, after=after)["t"])

    def changes(self, pin: int) -> list[tuple[float, int]]:
        """Emulated seconds and level of every change of a pin."""
        return [(one["t"], one["level"]) for one in self.lines if one.get("pin") == pin]

    def run(self, code: str, timeout_s: float = 200) -> str:
        """Run code at the board's prompt (raw mode); what it printed.

        It may name the firmware's numbers, which the board itself does not know by name.
        """
        code = fold(code, "", firmware_numbers())
        with serial.Serial(self.port, timeout=0.1) as port:
            port.write(b"\x03\x03\x01")
            self._until(port, b"raw REPL; CTRL-B to exit\r\n>", timeout_s)
            for start in range(0, len(code), 64):
                port.write(code[start : start + 64].encode())
            port.write(b"\x04")
            said = self._until(port, b"\x04", timeout_s, count=2)
            port.write(b"\x02")
        out, error = said.split(b"OK", 1)[1].split(b"\x04")[:2]
        if error:
            raise AssertionError(error.decode())
        return out.decode()

    @staticmethod
    def _until(port: serial.Serial, mark: bytes, timeout_s: float, count: int = 1) -> bytes:
        deadline = time.monotonic() + timeout_s
        said = b""
        while said.count(mark) < count:
            if time.monotonic() > deadline:
                raise AssertionError(f"the board's prompt said only {said[-200:]!r}")
            said += port.read(4096)
        return said

    def close(self) -> None:
        """End the emulator."""
        self._child.kill()
        self._child.wait()
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None:
                pipe.close()

    def __enter__(self) -> EmulatedBoard:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
