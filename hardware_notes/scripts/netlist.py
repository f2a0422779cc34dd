"""The netlist: every part, every pin, every net of the instrument.

``the_netlist`` is all ``netlist*.toml`` of the hardware notes as one list. Drawings, tables
and the SPICE deck are made from it, so that what is drawn, bought and simulated is the same thing.

    [[part]]                     [[net]]
    name = "R112"                name = "SWITCH_IN"
    kind = "resistor"            pins = ["R111.2", "R112.1", "R113.1"]
    value = "2.2 kohm"           sheet = "inputs"
    sheet = "inputs"             what = "release switch behind its series resistor"
    pins = ["1", "2"]

Each pin of each part stands in exactly one net, or in the part's ``open``, left open on purpose.
A net that several files name is one net: pins are added, the first description (``what``) counts.
What leaves a box is ``wire = "cable"`` and says what reads when it is ``opened`` and ``shorted``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from pathlib import Path
from typing import Any

from sheets import NOTES

SHEETS = ("analogue", "inputs", "release", "power")
WIRES = ("board", "cable")
QUANTITY = re.compile(r"([\d.]+) ([pnumkM]?)(?:ohm|F|V)\b")
PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
BOARD = "PICO"  # the part whose pins the firmware's config.py names


class NetlistError(ValueError):
    """The netlist is not one; the text says where, what was seen and how to mend it."""


@dataclass(frozen=True)
class Part:
    """One thing to buy or make.

    Attributes
    ----------
    name : str
        The reference in drawings and nets: ``R112``.
    kind, value, tolerance : str
        ``resistor``, ``2.2 kohm``, ``1 %``; the last two may be empty.
    sheet : str
        One of `SHEETS`: where it is drawn.
    pins : tuple of str
        Every pin that it has.
    open : tuple of str
        Those that are left open on purpose.
    look_for, why : str
        What to look for when buying, in general words; why this value, with its source.
    optional : bool
        The instrument works without it.
    """

    name: str
    kind: str
    sheet: str
    pins: tuple[str, ...]
    value: str = ""
    tolerance: str = ""
    open: tuple[str, ...] = ()
    look_for: str = ""
    why: str = ""
    optional: bool = False


@dataclass(frozen=True)
class Net:
    """What is connected to what.

    Attributes
    ----------
    name : str
        In capitals: ``SWITCH_IN``.
    pins : tuple of str
        ``PART.PIN``, two or more.
    sheet : str
        One of `SHEETS`: where it is explained.
    what : str
        What it carries.
    wire : str
        ``board``, or ``cable``: leaves a box and can be opened or shorted on the rig.
    opened, shorted : str
        Of a cable: what is seen when it is open, and when it is shorted to its neighbour.
    optional : bool
        There only with its optional parts.
    """

    name: str
    pins: tuple[str, ...]
    sheet: str
    what: str = ""
    wire: str = "board"
    opened: str = ""
    shorted: str = ""
    optional: bool = False


@dataclass(frozen=True)
class BoardPin:
    """A pin of the microcontroller's board, and what the firmware takes it for.

    Attributes
    ----------
    pin : str
        ``GP12``, as the part's pin is called.
    number : int
        Place on the board's edge; 0 where it is not led out.
    config : str
        Its line in the firmware's config.py; empty where that has none.
    signal, connects, open_reads : str
        Cells of the pin table.
    """

    pin: str
    signal: str
    number: int = 0
    config: str = ""
    connects: str = ""
    open_reads: str = ""


@dataclass(frozen=True)
class Netlist:
    """Parts, nets and the board's pins, each by its name, in the order of the files."""

    parts: Mapping[str, Part]
    nets: Mapping[str, Net]
    board_pins: Mapping[str, BoardPin]
    net_of: Mapping[str, str] = field(repr=False, default_factory=dict)

    def on_sheet(self, sheet: str) -> list[Part]:
        """Parts that are drawn on a sheet."""
        return [part for part in self.parts.values() if part.sheet == sheet]

    def cables(self) -> list[Net]:
        """Nets that can be opened and shorted on the rig."""
        return [net for net in self.nets.values() if net.wire == "cable"]

    def value(self, name: str) -> str:
        """The value of a part, as a drawing shows it; its kind where it has none."""
        return self.parts[name].value or self.parts[name].kind

    def number(self, name: str) -> float:
        """The value of a part in ohm, farad or volt: 2200.0 for ``2.2 kohm``.

        Raises
        ------
        NetlistError
            Its value begins with no number and unit.
        """
        found = QUANTITY.match(self.parts[name].value)
        if not found:
            raise NetlistError(f"{name}: value = {self.parts[name].value!r} is no number and unit")
        return float(found[1]) * PREFIXES[found[2]]

    def pins_of_net(self, name: str) -> set[str]:
        """The pins of a net.

        Raises
        ------
        NetlistError
            There is no such net.
        """
        if name not in self.nets:
            raise NetlistError(f"{name}: no such net; add it to a netlist*.toml")
        return set(self.nets[name].pins)


def _entry(kind: type[Any], given: Any, where: str) -> Any:
    """One table of the file as its dataclass: no key unknown, missing or of a wrong type."""
    if not isinstance(given, dict):
        raise NetlistError(f"{where}: {given!r} is no table; write [[...]] above its keys")
    name = given.get("name", given.get("pin", "without a name"))
    values = {}
    for key in fields(kind):
        if key.name in given:
            values[key.name] = _value(str(key.type), given[key.name], f"{where} {name}: {key.name}")
        elif key.default is MISSING:
            raise NetlistError(f"{where} {name}: {key.name} is missing; add it")
    unknown = sorted(set(given) - set(values))
    if unknown:
        known = ", ".join(key.name for key in fields(kind))
        raise NetlistError(f"{where} {name}: no key is called {unknown[0]}; there are {known}")
    return kind(**values)


def _value(kind: str, given: Any, where: str) -> Any:
    if kind.startswith("tuple"):
        if isinstance(given, list) and all(isinstance(one, str) and one for one in given):
            return tuple(given)
        raise NetlistError(f'{where} = {given!r}: must be a list of texts, as ["1", "2"]')
    wanted = {"str": str, "int": int, "bool": bool}[kind]
    if type(given) is not wanted:
        raise NetlistError(f"{where} = {given!r}: must be {wanted.__name__}")
    return given


def _entries(path: Path) -> Iterator[tuple[str, Any]]:
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise NetlistError(f"{path.name}: cannot be read: {problem}") from None
    kinds = {"part": Part, "net": Net, "pin": BoardPin}
    for section, given in data.items():
        if section not in kinds or not isinstance(given, list):
            raise NetlistError(f"{path.name}: {section}: there are [[part]], [[net]] and [[pin]]")
        for one in given:
            yield section, _entry(kinds[section], one, f"{path.name} {section}")


def _with(nets: dict[str, Net], net: Net) -> Net:
    """The net with the pins that several files give it; the first description counts."""
    before = nets.get(net.name)
    if before is None:
        return net
    told, other = (before, net) if before.what else (net, before)
    return Net(
        told.name,
        before.pins + tuple(pin for pin in net.pins if pin not in before.pins),
        told.sheet,
        told.what,
        told.wire,
        told.opened or other.opened,
        told.shorted or other.shorted,
        told.optional and other.optional,
    )


@cache
def the_netlist() -> Netlist:
    """That of the hardware notes, all ``netlist*.toml``, read once."""
    return read_netlist(*sorted(NOTES.glob("netlist*.toml")))


def read_netlist(*paths: Path) -> Netlist:
    """Read the files as one netlist, and check that it is one.

    Parameters
    ----------
    *paths : Path
        Its files.

    Raises
    ------
    NetlistError
        The first thing that is wrong with it.
    """
    parts: dict[str, Part] = {}
    nets: dict[str, Net] = {}
    board_pins: dict[str, BoardPin] = {}
    for path in paths:
        for section, entry in _entries(path):
            if section == "net":
                nets[entry.name] = _with(nets, entry)
                continue
            name, known = (entry.name, parts) if section == "part" else (entry.pin, board_pins)
            if name in known:
                raise NetlistError(f"{path.name}: {section} {name} is there twice; rename one")
            known[name] = entry
    for fault in faults(parts, nets, board_pins):
        raise NetlistError(fault)
    net_of = {pin: net.name for net in nets.values() for pin in net.pins}
    return Netlist(parts, nets, board_pins, net_of)


def faults(
    parts: Mapping[str, Part], nets: Mapping[str, Net], board_pins: Mapping[str, BoardPin]
) -> Iterator[str]:
    """Tell everything that keeps the entries from being a netlist, one text each."""
    for part in parts.values():
        yield from _part_faults(part)
    for net in nets.values():
        yield from _net_faults(net)
    yield from _pin_faults(parts, nets)
    board = parts.get(BOARD)
    if board_pins and board is None:
        yield f"there is no part {BOARD}, whose pins [[pin]] describes; add it"
    elif board is not None:
        for one in sorted(set(board_pins) ^ set(board.pins)):
            where = "[[pin]]" if one in board.pins else f"the pins of {BOARD}"
            yield f"{BOARD}.{one} is missing in {where}; the two lists must be the same"


def _part_faults(part: Part) -> Iterator[str]:
    if part.sheet not in SHEETS:
        yield f"part {part.name}: sheet = {part.sheet!r}: must be one of {', '.join(SHEETS)}"
    if not part.pins or len(set(part.pins)) != len(part.pins):
        yield f"part {part.name}: pins = {list(part.pins)}: must be there, each once"
    for pin in part.open:
        if pin not in part.pins:
            yield f"part {part.name}: open names {pin}, which is none of its pins {list(part.pins)}"
    if "." in part.name:
        yield f"part {part.name}: a name has no point, which parts it from its pin"


def _net_faults(net: Net) -> Iterator[str]:
    if net.sheet not in SHEETS:
        yield f"net {net.name}: sheet = {net.sheet!r}: must be one of {', '.join(SHEETS)}"
    if net.wire not in WIRES:
        yield f"net {net.name}: wire = {net.wire!r}: must be one of {', '.join(WIRES)}"
    if not net.what:
        yield f"net {net.name}: no file says what it carries; add `what`"
    if len(net.pins) < 2:
        yield f"net {net.name}: pins = {list(net.pins)}: a net joins two pins at least"
    if net.wire == "cable" and not (net.opened and net.shorted):
        yield (f"net {net.name}: a cable says what is seen when `opened` and when `shorted`")


def _pin_faults(parts: Mapping[str, Part], nets: Mapping[str, Net]) -> Iterator[str]:
    """Every pin of every part must be in one net, or open on purpose."""
    seen: dict[str, str] = {}
    for net in nets.values():
        for pin in net.pins:
            name, _, terminal = pin.rpartition(".")
            if name not in parts:
                yield f"net {net.name}: {pin}: no part is called {name!r}"
            elif terminal not in parts[name].pins:
                yield f"net {net.name}: {pin}: {name} has the pins {list(parts[name].pins)}"
            elif terminal in parts[name].open:
                yield f"net {net.name}: {pin} is said to be open; take it out of `open`, or here"
            if pin in seen:
                yield f"{pin} is in the nets {seen[pin]} and {net.name}; a pin is in one"
            seen[pin] = net.name
    for part in parts.values():
        for terminal in part.pins:
            if f"{part.name}.{terminal}" not in seen and terminal not in part.open:
                yield f"{part.name}.{terminal} is in no net; add it to one, or to the part's `open`"
