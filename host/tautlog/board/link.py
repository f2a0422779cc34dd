"""Link: the serial port, or whatever pyserial opens in its place.

Bytes in, bytes out; `wire` knows their meaning. The only importer of pyserial: its exceptions
end here.
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
BAUD = 115200  # USB serial ports ignore it; real ones need it


USB_VENDORS = (0x2E8A,)  # Raspberry Pi; MicroPython's RP2 port uses it


@dataclass(frozen=True)
class FoundPort:
    """A serial port of this machine.

    Attributes
    ----------
    device, description, serial : str
        Name, description and serial number.
    likely : bool
        It may be a tautlog board.
    """

    device: str
    description: str
    serial: str
    likely: bool


def find_ports() -> list[FoundPort]:
    """The serial ports of this machine, likely boards first."""
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
    """A connection, as a session uses it."""

    def read(self) -> bytes:
        """The bytes that arrived, perhaps none; waits at most READ_WAIT_S."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""

    def close(self) -> None:
        """Close the port."""


class SerialLink:
    """A port opened through ``serial.serial_for_url``.

    Parameters
    ----------
    url : str
        A device name, or a URL such as ``socket://host:port``.

    Raises
    ------
    LinkError
        If the port is missing, busy, forbidden or unknown.
    """

    def __init__(self, url: str) -> None:
        import serial  # imported late: a machine that only reads records may lack its needs

        self.url = url
        try:
            # Two programs on one board would garble each other's frames.
            exclusive = {} if "://" in url else {"exclusive": True}
            self._port = serial.serial_for_url(
                url, baudrate=BAUD, timeout=READ_WAIT_S, write_timeout=WRITE_WAIT_S, **exclusive
            )
        except (OSError, ValueError) as problem:
            raise LinkError(_why_not_open(url, problem), port=url) from problem

    def read(self) -> bytes:
        """The bytes that arrived, perhaps none; waits at most READ_WAIT_S."""
        try:
            data: bytes = self._port.read(READ_BYTES)
        except (OSError, TypeError) as problem:
            # pyserial raises TypeError if the port is closed while it reads.
            raise self._gone(problem) from problem
        return data

    def write(self, data: bytes) -> None:
        """Send all of `data`.

        Raises
        ------
        LinkError
            If the port is gone, or accepts nothing for two seconds.
        """
        sent = 0
        try:
            while sent < len(data):
                sent += self._port.write(data[sent:]) or 0
        except (OSError, TypeError) as problem:
            raise self._gone(problem) from problem

    def close(self) -> None:
        """Close the port; may be called twice."""
        # pyserial does not close a socket whose other end is gone.
        raw = getattr(self._port, "_socket", None)
        with contextlib.suppress(OSError):  # it was gone already
            self._port.close()
        if raw is not None:
            raw.close()

    def _gone(self, problem: Exception) -> LinkError:
        return LinkError(
            f"the connection to {self.url} broke ({problem}): check cable and power, then fetch "
            "what the board still holds with `tautlog recover`",
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
    """Why a port did not open, and how to mend it."""
    number = getattr(problem, "errno", None)
    text = str(problem)
    if number == errno.ENOENT or "No such file" in text or "FileNotFound" in text:
        return f"there is no port {url}: check the cable and the name"
    if "Access is denied" in text:  # Windows' message for a port in use
        return f"port {url} is in use by another program: close that program first"
    if number == errno.EACCES or "Permission" in text:
        return f"you may not open port {url}: join the group that owns it (often `dialout`)"
    if number in (errno.EBUSY, errno.EAGAIN) or "lock" in text or "busy" in text.lower():
        return f"port {url} is in use by another program: close that program first"
    if "refused" in text:
        return f"nothing listens at {url}: is the board, or the rehearsal, running?"
    return f"port {url} does not open: {text}"
