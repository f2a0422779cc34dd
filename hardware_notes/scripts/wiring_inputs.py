"""Drawings of the inputs, the readbacks, and what the board lights."""

from __future__ import annotations

import schemdraw.elements as elm
from netlist import Netlist
from schematic import Made, Schematic

WHAT = {
    "GP10": "release switch",
    "GP11": "arm key",
    "GP15": "article wire",
    "GP16": "mount wire",
    "GP2": "stop",
    "GP3": "gate",
    "GP4": "pin switch",
}
PITCH = 4.1
DROP = 1.5  # from a signal down to its ground
EDGE = 2.6  # of the box


def inputs(netlist: Netlist) -> Schematic:
    """Release switch, key sense and break wires."""
    s = Schematic(netlist, "Inputs: release switch, arm key, break wires")
    rows = (
        (1, "GP10", "S211", ("1", "2"), ["S211  release switch", "closed while latched"]),
        (2, "GP11", "S304", ("B1", "B2"), ["S304 B  arm key", "second pole, closed = on"]),
        (3, "GP15", "W231", ("1", "2"), ["W231*  break wire", "across the article"]),
        (4, "GP16", "W241", ("1", "2"), ["W241*  break wire", "across the mount"]),
    )
    for row, (number, gpio, part, pins, words) in enumerate(rows):
        _channel(s, -PITCH * row, number, gpio, (part, pins, words))
    y = -PITCH * len(rows)
    y += 1.3
    s.two("J201", elm.Switch, ((5.3, y), (5.3, y - DROP)))
    s.beside((5.3, y - DROP / 2), ["J201  jumper on the board,", "left open"], "right", 0.7)
    s.wire((5.3, y), (11.2, y))
    s.board_pin("GP22", (11.2, y), "right")
    s.ground((5.3, y - DROP))
    _frame(s, 1.9, y - DROP - 0.95)
    return s


def readbacks(netlist: Netlist) -> Schematic:
    """Contacts of the release chain that the board may see."""
    s = Schematic(netlist, "Readbacks of the release chain, optional")
    rows = (
        (
            5,
            "GP2",
            "S301",
            ("21", "22"),
            ["S301  emergency stop", "second contact,", "closed while not pressed"],
        ),
        (
            6,
            "GP3",
            "S302",
            ("21", "22"),
            ["S302  zone gate", "second contact,", "closed while shut"],
        ),
        (
            7,
            "GP4",
            "S303",
            ("23", "24"),
            ["S303  pin switch", "second contact,", "closed while the pin is OUT"],
        ),
    )
    for row, (number, gpio, part, pins, words) in enumerate(rows):
        _channel(s, -PITCH * row, number, gpio, (part, pins, words))
    _frame(s, 1.9, -PITCH * (len(rows) - 1) - DROP - 0.75)
    return s


def _channel(
    s: Schematic, y: float, number: int, gpio: str, contact: tuple[str, tuple[str, str], list[str]]
) -> None:
    """One contact from the rig to the board's pin."""
    part, pins, words = contact
    low = y - DROP
    kind = elm.FuseUS if part.startswith("W") else elm.Switch
    if part == "S301":  # the only one that is made while nobody is there
        kind = Made
    s.two(part, kind, ((0.4, y), (0.4, low)), pins=pins)
    s.beside((0.4, y - DROP / 2), words, "left", 0.42)
    for pin, height in zip(pins, (y + 0.12, low - 0.36), strict=True):
        if part.startswith("S"):
            s.text((0.45, height), "start", [pin])
    name = f"2{number}"
    for pin, height in (("1", y), ("2", low)):
        s.wire((0.4, height), (EDGE, height))
        s.terminal(f"X{name}1", pin, (EDGE, height))
    s.text((1.65, (y + low) / 2 + 0.08), "middle", ["twisted", "pair"])
    s.text((EDGE + 0.2, (y + low) / 2 - 0.1), "start", [f"X{name}1"])
    s.wire((EDGE, y), (3.2, y))
    s.two(f"R{name}1", elm.ResistorIEC, ((3.2, y), (5.0, y)), "above")
    s.wire((5.0, y), (7.6, y))
    s.two(f"D{name}1", elm.Zener, ((5.3, low), (5.3, y)), "right", ("A", "K"))
    s.two(f"R{name}2", elm.ResistorIEC, ((7.2, y + 1.5), (7.2, y)), "left")
    s.supply("3V3", (7.2, y + 1.5))
    s.two(f"R{name}3", elm.ResistorIEC, ((7.6, y), (9.4, y)), "above")
    s.wire((9.4, y), (11.2, y))
    s.two(f"C{name}1", elm.Capacitor, ((9.9, y), (9.9, low)), "right")
    s.wire((EDGE, low), (5.3, low), (7.2, low), (9.9, low))
    s.ground((7.2, low))
    s.board_pin(gpio, (11.2, y), "right", WHAT[gpio])


def _frame(s: Schematic, top: float, bottom: float) -> None:
    s.enclosure((EDGE, bottom), (15.6, top + 0.35), "in the box")
    s.text((-3.6, top + 0.47), "start", ["on the rig"], bold=True)
    s.text(
        (-3.6, bottom - 0.5),
        "start",
        ["* optional.  Contacts are drawn as they are without sled, key and people."],
    )


def lights(netlist: Netlist) -> Schematic:
    """Warning lamp and sync flash."""
    s = Schematic(netlist, "Lamp and sync flash")
    rows = (
        ("GP14", ("R291", "R292", "R293"), "Q291", "X291", "H291", ["lit while armed"]),
        ("GP17", ("R294", "R295", "R296"), "Q292", "X292", "H292", ["in view of the camera"]),
    )
    for row, (gpio, (gate, down, series), mosfet, plug, lamp, words) in enumerate(rows):
        y = -5.6 * row
        s.board_pin(gpio, (0, y), "left")
        s.two(gate, elm.ResistorIEC, ((0.5, y), (2.3, y)), "above")
        s.wire((0, y), (0.5, y))
        at = s.symbol(
            mosfet,
            elm.NFet().theta(0).reverse(),
            {"G": "gate", "D": "drain", "S": "source"},
            (4.2, y),
            "gate",
        )
        s.wire((2.3, y), at["G"])
        s.label(mosfet, (at["D"][0], y), "right", 0.3)
        s.two(down, elm.ResistorIEC, ((3.0, y), (3.0, y - 1.5)), "left")
        s.ground((3.0, y - 1.5))
        s.wire(at["S"], (at["S"][0], y - 1.5))
        s.ground((at["S"][0], y - 1.5))
        x = at["D"][0]
        s.wire(at["D"], (x, y + 1.1), (9.4, y + 1.1))
        s.terminal(plug, "2", (9.4, y + 1.1))
        s.two(series, elm.ResistorIEC, ((7.0, y + 2.4), (8.8, y + 2.4)), "above")
        s.wire((6.4, y + 2.8), (6.4, y + 2.4), (7.0, y + 2.4))
        s.wire((8.8, y + 2.4), (9.4, y + 2.4))
        s.supply("5V", (6.4, y + 2.8))
        s.terminal(plug, "1", (9.4, y + 2.4))
        s.text((9.2, y + 1.65), "end", [plug])
        s.two(lamp, elm.LED, ((10.8, y + 2.4), (10.8, y + 1.1)), "", ("A", "K"))
        s.wire((9.4, y + 2.4), (10.8, y + 2.4))
        s.wire((9.4, y + 1.1), (10.8, y + 1.1))
        s.label(lamp, (11.3, y + 1.75), "right", 0.5, words[0])
    s.enclosure((-5.2, -8.0), (9.4, 3.6), "in the box")
    s.text((9.8, 3.72), "start", ["on the rig"], bold=True)
    return s
