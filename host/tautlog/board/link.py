"""Link: the serial port, or whatever pyserial opens in its place.

Bytes in, bytes out; what they mean is `wire`'s business. The only importer of
pyserial, and the place where its exceptions end.
"""

from __future__ import annotations

import contextlib
import errno
import types
from dataclasses import dataclass
from typing import Protocol, Self

from tautlog.errors import LinkError

READ_WAIT_S = 0.01
READ_BYTES = 1 << 16
WRITE_WAIT_S = 2.0
BAUD = 115200  # USB serial ports take any; real ones need a number


USB_VENDORS = (0x2E8A,)  # Raspberry Pi; MicroPython's RP2 ports use it


@dataclass(frozen=True)
class FoundPort:
    """A serial port of this machine.

    Attributes
    ----------
    device, description, serial : str
        Name, what it says of itself, serial number.
    likely : bool
        It may be a board of ours.
    """

    device: str
    description: str
    serial: str
    likely: bool


def find_ports() -> list[FoundPort]:
    """Return this machine's serial ports, likely boards first."""
    from serial.tools import list_ports

    found = [
        FoundPort(
            device=port.device,
            description=port.description or "",
            serial=port.serial_number or "",
            likely=port.vid in USB_VENDORS,
        )
        for port in list_ports.comports()
    ]
    return sorted(found, key=lambda port: (not port.likely, port.device))


class Link(Protocol):
    """What a session needs of a connection."""

    def read(self) -> bytes:
        """Bytes that arrived, perhaps none; waits for READ_WAIT_S at most."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""

    def close(self) -> None:
        """Let the port go."""


class SerialLink:
    """A port opened through ``serial.serial_for_url``.

    Parameters
    ----------
    url : str
        A device name, or a URL such as ``socket://host:port``.

    Raises
    ------
    LinkError
        If the port is missing, busy, forbidden or not understood.
    """

    def __init__(self, url: str) -> None:
        import serial  # on Unix it needs more of the system than a reader of records has

        self.url = url
        try:
            # Two programs on one board would tear each other's frames apart.
            exclusive = {} if "://" in url else {"exclusive": True}
            self._port = serial.serial_for_url(
                url, baudrate=BAUD, timeout=READ_WAIT_S, write_timeout=WRITE_WAIT_S, **exclusive
            )
        except (OSError, ValueError) as problem:
            raise LinkError(_why_not_open(url, problem), port=url) from problem

    def read(self) -> bytes:
        """Bytes that arrived, perhaps none; waits for READ_WAIT_S at most."""
        try:
            data: bytes = self._port.read(READ_BYTES)
        except (OSError, TypeError) as problem:
            # pyserial raises TypeError when a port is closed under its feet.
            raise self._gone(problem) from problem
        return data

    def write(self, data: bytes) -> None:
        """Send all of `data`.

        Raises
        ------
        LinkError
            If the port is gone, or takes nothing for two seconds.
        """
        sent = 0
        try:
            while sent < len(data):
                sent += self._port.write(data[sent:]) or 0
        except (OSError, TypeError) as problem:
            raise self._gone(problem) from problem

    def close(self) -> None:
        """Let the port go; closing twice does no harm."""
        # pyserial forgets to close a socket whose other side is gone.
        raw = getattr(self._port, "_socket", None)
        with contextlib.suppress(OSError):  # it was gone already
            self._port.close()
        if raw is not None:
            raw.close()

    def _gone(self, problem: Exception) -> LinkError:
        return LinkError(
            f"the connection to {self.url} broke ({problem}): check cable and power, then "
            "`tautlog recover` fetches what the board still holds",
            port=self.url,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self.close()


def _why_not_open(url: str, problem: Exception) -> str:
    """Say why a port did not open, and what to do about it."""
    number = getattr(problem, "errno", None)
    text = str(problem)
    if number == errno.ENOENT or "No such file" in text or "FileNotFound" in text:
        return f"there is no port {url}: check the cable and the name"
    if "Access is denied" in text:  # what Windows says of a port that is in use
        return f"port {url} is in use by another program: close that one first"
    if number == errno.EACCES or "Permission" in text:
        return f"port {url} is not yours to open: join the group that owns it (often `dialout`)"
    if number in (errno.EBUSY, errno.EAGAIN) or "lock" in text or "busy" in text.lower():
        return f"port {url} is in use by another program: close that one first"
    if "refused" in text:
        return f"nothing listens at {url}: is the board, or the rehearsal, running?"
    return f"port {url} does not open: {text}"
