"""Installer: the firmware's files onto a board, each verified by its SHA-256.

The order keeps a board harmless whenever it is interrupted: main.py goes first and
comes last, so that a half-installed board starts at MicroPython's prompt, with all
pins as inputs.
"""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from tautlog.board.answers import told
from tautlog.board.compiled import ENTRY, firmware_files
from tautlog.board.prompt import RESTART_S, Prompt, at_prompt, greeted
from tautlog.errors import BoardError
from tautlog.model.stream import Instrument

CONFIG = "config.py"
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
    BoardError
        If a file does not arrive as it was sent.
    """
    with at_prompt(port, timeout_scale, say, "install") as board:
        version, machine, march = board.identify()
        say(f"{machine}, MicroPython {version}")
        files = dict(firmware_files(march))
        kept = not fresh_config and board.hashes([CONFIG])[CONFIG] != ""
        if kept:
            check_config(board, files.pop(CONFIG))
        written, unchanged = put(board, files, say)
        board.restart()
    say(f"restarting the board, at most {RESTART_S * timeout_scale:.0f} s")
    instrument = greeted(port, timeout_scale)
    return Installed(machine, version, written, unchanged, kept, instrument)


def check_config(board: Prompt, delivered: bytes) -> None:
    """See that the board's config.py knows every name that the firmware needs."""
    code = f"f = open({CONFIG!r})\nprint(repr(f.read()))\nf.close()"
    have = _names(str(board.literal(board.run(code))))
    lacking = sorted(_names(delivered.decode()) - have)
    if lacking:
        raise BoardError(
            f"{CONFIG} on the board lacks {', '.join(lacking)}: install with --fresh-config "
            "and enter your changes again"
        )


def put(
    board: Prompt, files: dict[str, bytes], say: Callable[[str], None]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Write what differs, verify it, main.py at the very end."""
    there = board.hashes(list(files))
    wanted = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    unchanged = tuple(name for name in files if there[name] == wanted[name])
    todo = [name for name in files if name not in unchanged]
    if todo and ENTRY not in todo:
        # An interruption must not leave old and new files running together.
        todo.append(ENTRY)
        unchanged = tuple(name for name in unchanged if name != ENTRY)
    if todo:
        board.run(REMOVE % ENTRY)
    for folder in sorted({name.rpartition("/")[0] for name in todo} - {""}):
        board.run(MAKE_FOLDER % folder)
    for name in todo:
        if name.endswith(".mpy"):
            # An uncompiled file of that name would be preferred.
            board.run(REMOVE % (name.removesuffix(".mpy") + ".py"))
    for number, name in enumerate(todo):
        say(f"  {number + 1} of {len(todo)}  {name}")
        _write(board, name, files[name], wanted[name])
    return tuple(todo), unchanged


def _write(board: Prompt, name: str, data: bytes, wanted: str) -> None:
    board.write_file(name, data)
    seen = board.hashes([name])[name]
    if seen != wanted:
        raise BoardError(
            f"{name} did not arrive as it was sent (SHA-256 {told(seen[:12])} for {wanted[:12]}): "
            "check the cable, then install again; the board is at its prompt, pins released"
        )


def _names(config: str) -> set[str]:
    """Names that a config.py assigns."""
    try:
        tree = ast.parse(config)
    except (ValueError, SyntaxError, MemoryError, RecursionError) as problem:
        line = getattr(problem, "lineno", None) or "not known"
        raise BoardError(
            f"{CONFIG} on the board is not Python (line {line}): mend it, or install "
            "with --fresh-config"
        ) from problem
    targets = [
        target for node in tree.body if isinstance(node, ast.Assign) for target in node.targets
    ]
    return {target.id for target in targets if isinstance(target, ast.Name)}
