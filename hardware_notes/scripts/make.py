"""Make the drawings and tables of the hardware notes anew.

``python hardware_notes/scripts/make.py``. What is made stands in the repository, so that a reader
needs no program. With ``--check`` nothing is written: what differs is told, with exit status 1.
"""

from __future__ import annotations

import argparse
import importlib
import pkgutil
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[2] / "firmware"))  # figures ask config.py

import figures
import front_end
import mechanics
import spice
from netlist import NetlistError, the_netlist
from sheets import NOTES, SHEETS, with_tables, wrong_figures
from tables import tables as made_tables
from wiring import DRAWINGS

from tautlog.model.wire_faults import fault_table, lights_table

try:
    for module in pkgutil.iter_modules(figures.__path__):
        importlib.import_module(f"figures.{module.name}")
except NetlistError as problem:  # figures take their values from it
    if __name__ != "__main__":
        raise
    sys.exit(str(problem))


def tables() -> dict[str, str]:
    """Markdown of each made table, by its name in the sheets."""
    made = made_tables(the_netlist())
    return made | {
        "cell wires": front_end.wires_table(),
        "faults": fault_table(),
        "lights": lights_table(),
    }


def drawings() -> dict[str, str]:
    """SVG text of each drawing, and the SPICE deck, by its file's name."""
    netlist = the_netlist()
    wiring = {f"{name}.svg": draw(netlist).svg() for name, draw in DRAWINGS.items()}
    front = {"response.svg": front_end.picture(), "front_end.cir": spice.checked_in()}
    return wiring | front | mechanics.drawings()


def wanted() -> dict[Path, str]:
    """Text of every file that is made, or has a made part."""
    made = tables()
    texts = {sheet: with_tables(sheet.read_text(encoding="utf-8"), made) for sheet in SHEETS}
    return texts | {NOTES / "drawings" / name: svg for name, svg in drawings().items()}


def main(arguments: list[str] | None = None) -> int:
    """Write what differs, or tell it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--check", action="store_true", help="write nothing, tell what differs")
    check = parser.parse_args(arguments).check
    wrong = False
    for path, text in wanted().items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            wrong = True
            print(f"{path.relative_to(NOTES)}: {'is not' if check else 'was not'} what is made")
            if not check:
                path.parent.mkdir(exist_ok=True)
                path.write_text(text, encoding="utf-8")
    for sheet in SHEETS:
        for fault in wrong_figures(sheet.read_text(encoding="utf-8")):
            wrong = True
            print(f"{sheet.name}: {fault}")
    return int(wrong and check)


if __name__ == "__main__":
    sys.exit(main())
