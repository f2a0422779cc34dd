"""The board's process: the real firmware, fed by a simulated rig.

The firmware's files run unchanged in their own process, under MicroPython if it is installed,
else under CPython. A thread here serves its converter and pins; the laptop's program talks to
it through an ordinary port.
"""

from __future__ import annotations

import importlib.resources
import shutil
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import types
from pathlib import Path
from typing import Protocol, Self

from tautlog.errors import BoardError
from tautlog.rehearsal.rig import RigStep
from tautlog.rehearsal.virtual import bare as virtual_board

START_S = 10.0
PORT_TRIES = 5


class RigSource(Protocol):
    """Feeds the board; `rig.SimulatedRig` is one."""

    def advance(self, n_samples: int, outputs: int) -> RigStep:
        """Advance by n_samples with the board's present outputs."""


def find_interpreter() -> Path:
    """The interpreter for the firmware: MicroPython if there is one, else this Python."""
    beside = Path(sys.executable).with_name("micropython")
    if beside.exists():
        return beside
    found = shutil.which("micropython")
    return Path(found) if found else Path(sys.executable)


def firmware_folder() -> Path:
    """Folder of the firmware's files in the installed package."""
    with importlib.resources.as_file(importlib.resources.files("tautlog.firmware")) as folder:
        return Path(folder)


class BoardProcess:
    """A running board; a context manager.

    Parameters
    ----------
    rig : RigSource
        Feeds converter and pins.
    interpreter : Path, optional
        Runs the firmware; default: `find_interpreter`.
    speed : float
        Simulated seconds per second, at most.
    serial : str
        Serial number that the board shows.
    chip : str
        Chip that the board names; it changes nothing else.
    changes : dict of str to int, float or str, optional
        Values of the firmware's config.py for this run.

    Attributes
    ----------
    url : str
        URL of the board for `link.SerialLink`.

    Raises
    ------
    BoardError
        If the process does not start; the message has its output.
    """

    def __init__(
        self,
        rig: RigSource,
        *,
        interpreter: Path | None = None,
        speed: float = 1.0,
        serial: str = "rehearsal",
        chip: str = "RP2040",
        changes: dict[str, int | float | str] | None = None,
        link_port: int = 0,
    ) -> None:
        self._rig = rig
        self._interpreter = interpreter or find_interpreter()
        self._speed = speed
        self._serial, self._chip = serial, chip
        self._changes = changes or {}
        self._log = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the process
        self._failure: BaseException | None = None
        self._start(link_port)

    def _start(self, wanted_port: int) -> None:
        for _ in range(1 if wanted_port else PORT_TRIES):
            with socket.create_server(("127.0.0.1", 0)) as listener:
                listener.settimeout(0.1)
                link_port = wanted_port or _free_port()
                self.url = f"socket://127.0.0.1:{link_port}"
                self._child = subprocess.Popen(
                    self._command(listener.getsockname()[1], link_port),
                    stdin=subprocess.DEVNULL,
                    stdout=self._log,
                    stderr=subprocess.STDOUT,
                )
                connection = self._await_board(listener)
            if connection is not None:
                self._thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
                self._thread.start()
                return
        printed = self.printed()
        self._log.close()
        raise BoardError(f"the rehearsed board did not start under {self._interpreter}: {printed}")

    def _command(self, rig_port: int, link_port: int) -> list[str]:
        run = Path(virtual_board.__file__).with_name("run.py")
        changes = [f"{name}={value}" for name, value in self._changes.items()]
        return [
            *(str(self._interpreter), str(run), str(firmware_folder())),
            *(str(rig_port), str(link_port), str(self._speed), self._serial, self._chip),
            *changes,
        ]

    def _await_board(self, listener: socket.socket) -> socket.socket | None:
        for _ in range(int(START_S / 0.1)):
            try:
                return listener.accept()[0]
            except TimeoutError:
                if self._child.poll() is not None:
                    return None
        self._child.kill()
        self._child.wait()
        return None

    def _serve(self, connection: socket.socket) -> None:
        """Serve the board's converter and pins until its process ends."""
        request = struct.Struct(virtual_board.REQUEST)
        try:
            with connection:
                connection.settimeout(None)
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                while True:
                    packed = connection.recv(request.size, socket.MSG_WAITALL)
                    if len(packed) < request.size:
                        return
                    outputs, _, samples = request.unpack(packed)
                    connection.sendall(_reply(self._rig.advance(samples, outputs)))
        except OSError:
            return  # the board's process ended
        except BaseException as problem:  # kept for the thread that waits for the board
            self._failure = problem
            self._child.kill()

    def check(self) -> None:
        """Raise the failure of the simulated rig, if any."""
        if self._failure is not None:
            raise self._failure

    def printed(self) -> str:
        """The output of the board's process; empty if all is well."""
        self._log.seek(0)
        return self._log.read().decode(errors="replace").strip()

    def close(self) -> None:
        """End the process."""
        if self._child.poll() is None:
            self._child.kill()
        self._child.wait()
        self._thread.join(timeout=5.0)
        self._log.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self.close()


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def _reply(step: RigStep) -> bytes:
    parts = [struct.pack(virtual_board.REPLY, step.inputs, len(step.edges), len(step.counts))]
    for edge in step.edges:
        offset_64 = min(int(edge.offset * 64), 0xFFFF)
        parts.append(struct.pack(virtual_board.EDGE, offset_64, edge.input, edge.closed, 0))
    parts.append(step.counts.astype("<u2").tobytes())
    return b"".join(parts)
