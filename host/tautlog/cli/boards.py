"""``tautlog boards``."""

from __future__ import annotations

from dataclasses import asdict

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model.printable import printable


@click.command(name="boards")
@click.option(
    "--ask", is_flag=True, help="Ask each likely port for its firmware; takes 1 to 3 s a port."
)
@options.json_option
def command(ask: bool, as_json: bool) -> None:
    """List this computer's serial ports, likely boards first."""
    from tautlog.board.link import find_ports
    from tautlog.cli.output import print_json

    ports = find_ports()
    greetings = {port.device: _greeting(port.device) for port in ports if ask and port.likely}
    if as_json:
        print_json([{**asdict(port), "firmware": greetings.get(port.device)} for port in ports])
        return
    if not ports:
        tell("no serial ports found: is the board plugged in?")
    for port in ports:
        kind = "likely a board" if port.likely else "another device"
        greeting = f"  {greetings[port.device]}" if port.device in greetings else ""
        tell(printable(f"{port.device:16} {kind:15} {port.description}{greeting}"))


def _greeting(device: str) -> str:
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.errors import (
        BoardConfigError,
        BusyError,
        FirmwareFailedError,
        TautlogError,
        WireVersionError,
    )

    try:
        with SerialLink(device) as link:
            board = Session(link).greet()
    except BusyError as problem:
        return f"tautlog firmware, {problem.state}: leave it alone"
    except (BoardConfigError, FirmwareFailedError, WireVersionError) as problem:
        return f"cannot be used: {problem}"
    except TautlogError as problem:
        return f"no tautlog firmware ({type(problem).__name__})"
    return f"firmware {board.firmware}, {board.board}, {board.state}"
