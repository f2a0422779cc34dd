"""Drawings of the release: the chain with the coil, and what drives it from the board."""

from __future__ import annotations

import schemdraw.elements as elm
from lettering import Point
from netlist import Netlist
from schematic import Made, Schematic

RAIL = -7.4  # battery minus
BUS = -1.2  # end of the chain
STEP = 2.75  # from contact to contact


def chain(netlist: Netlist) -> Schematic:
    """Battery, fuse, the contacts in series, driver and coil."""
    s = Schematic(netlist, "Release chain: the coil's circuit, isolated from the board", size=12)
    _contacts(s)
    _battery(s)
    _switches(s)
    _coil(s)
    s.enclosure((-0.9, RAIL - 0.75), (20.6, -0.2), "in the box")
    s.text((4.3, 3.6), "start", ["on the rig"], bold=True)
    s.text(
        (-0.9, RAIL - 1.35),
        "start",
        [
            "Contacts are drawn as without people: gate open, pin in, key off, buttons let go;",
            "the stop is not pressed.",
            "OK301 and OK302: their other halves are in the drawing of the driver.",
        ],
    )
    return s


def _contacts(s: Schematic) -> None:
    contacts = (
        ("S301", ("11", "12"), elm.Switch, ["emergency", "stop"]),
        ("S302", ("11", "12"), elm.Switch, ["zone gate", "shut"]),
        ("S303", ("13", "14"), elm.Switch, ["pin is", "OUT"]),
        ("S304", ("A1", "A2"), elm.Switch, ["key on,", "pole A"]),
        ("S305", ("13", "14"), elm.Button, ["second person", "holds"]),
        ("S306", ("13", "14"), elm.Button, ["operator", "holds"]),
    )
    y, x = 1.2, 4.3
    s.terminal("X301", "1", (3.9, -0.2), (-0.16, 0.14))
    s.wire((3.9, -0.2), (3.9, y), (x, y))
    for row, (name, pins, kind, words) in enumerate(contacts):
        left = x + STEP * row
        if name == "S301":  # the only one that is made while nobody is there
            kind = Made
        s.two(name, kind, ((left, y), (left + 1.8, y)), "", pins)
        s.beside((left + 0.9, y), [name, *words], "above", 0.7)
        for pin, at in zip(pins, (left + 0.35, left + 1.45), strict=True):
            s.text((at, y - 0.45), "middle", [pin])
        if row < len(contacts) - 1:
            s.wire((left + 1.8, y), (left + STEP, y))
    end = x + STEP * (len(contacts) - 1) + 1.8
    s.wire((end, y), (19.9, y), (19.9, -0.2))
    s.terminal("X301", "2", (19.9, -0.2), (-0.16, 0.14))
    s.text((3.1, -0.8), "end", ["X301"])


def _battery(s: Schematic) -> None:
    s.two("BT301", elm.Battery, ((0.3, RAIL), (0.3, -1.2)), "", ("-", "+"))
    s.label("BT301", (0.3, (RAIL - 1.2) / 2), "right", 0.6)
    s.wire((0.3, -1.2), (0.9, -1.2))
    s.two("F301", elm.FuseIEC, ((0.9, -1.2), (2.9, -1.2)))
    s.beside((1.9, -1.2), ["F301", "2 A time-lag"], "below", 0.4)
    s.wire((2.9, -1.2), (3.9, -1.2), (3.9, -0.2))


def _switches(s: Schematic) -> None:
    """Opto-couplers and the two MOSFETs in series."""
    x = 17.2
    s.wire((19.9, -0.2), (19.9, BUS), (17.0, BUS))
    s.two("D305", elm.Diode, ((17.0, BUS), (15.2, BUS)), "above", ("A", "K"))
    s.wire((15.2, BUS), (7.3, BUS), (5.5, BUS))
    s.two("R323", elm.ResistorIEC, ((5.5, BUS), (5.5, BUS - 2.2)), "left")
    s.two("D322", elm.LED, ((5.5, BUS - 2.2), (5.5, RAIL)), "", ("A", "K"))
    s.beside((5.8, -5.4), ["D322  green", '"chain closed"'], "left", 0.85)
    for mosfet, opto, down, column, gate in (
        ("M302", "OK302", "R322", 13.0, -3.4),
        ("M301", "OK301", "R321", 10.2, -5.9),
    ):
        at = s.symbol(
            mosfet,
            elm.NFet().theta(0).reverse(),
            {"G": "gate", "D": "drain", "S": "source"},
            (x - 1.3667, gate),
            "gate",
        )
        s.beside((x, gate), [mosfet, "pulse" if mosfet == "M302" else "enable"], "right", 0.3)
        tran = s.symbol(
            opto,
            elm.NpnPhoto().theta(0),
            {"C": "collector", "E": "emitter"},
            (column, gate),
            "emitter",
        )
        s.wire(tran["C"], (column, BUS))
        diode = "D306" if mosfet == "M302" else "D307"
        s.two(diode, elm.Diode, (tran["E"], (column + 1.5, gate)), "", ("A", "K"))
        s.beside((column + 0.75, gate), [diode], "above", 0.3)
        s.wire((column + 1.5, gate), at["G"])
        s.beside((column - 0.9, gate + 0.75), [opto], "left", 0.5)
        foot = RAIL if mosfet == "M301" else -4.65
        left = column + 2.4
        s.two(down, elm.ResistorIEC, ((left, gate), (left, foot)), "left")
        if foot != RAIL:
            s.wire((left, foot), (x, foot))
    s.wire((x, -4.15), (x, -5.15))
    s.wire((x, -6.65), (x, RAIL))
    s.two("R324", elm.ResistorIEC, ((7.3, BUS), (7.3, BUS - 2.2)), "right")
    s.wire((7.3, BUS - 2.2), (7.3, RAIL))
    s.wire((0.3, RAIL), (5.5, RAIL), (7.3, RAIL), (12.6, RAIL), (x, RAIL), (18.4, RAIL))
    s.tag("BATTERY_MINUS", (18.4, RAIL), "right", ["to R401"])


def _coil(s: Schematic) -> None:
    edge, x = 20.6, 17.2
    s.wire((19.9, BUS), (edge, BUS))
    s.wire((x, -2.65), (edge, -2.65))
    s.terminal("X302", "1", (edge, BUS))
    s.terminal("X302", "2", (edge, -2.65))
    s.text((edge - 0.2, -2.05), "end", ["X302"])
    top, foot = BUS, -4.4
    s.wire((edge, BUS), (22.6, top), (24.4, top))
    s.wire((edge, -2.65), (21.6, -2.65), (21.6, foot), (22.6, foot), (24.4, foot))
    s.two("L301", elm.Inductor2, ((22.6, top), (22.6, foot)))
    s.two("D303", elm.Diode, ((24.4, (top + foot) / 2), (24.4, top)), "", ("A", "K"))
    s.label("D303", (24.4, (3 * top + foot) / 4), "right", 0.6)
    s.two("D304", elm.Zener, ((24.4, (top + foot) / 2), (24.4, foot)), "", ("A", "K"))
    s.label("D304", (24.4, (top + 3 * foot) / 4), "right", 0.6)
    s.text(
        (21.4, foot - 0.6), "start", ["L301  latch coil, 12 V, 6 Ω", "the diodes sit at the coil"]
    )


def driver(netlist: Netlist) -> Schematic:
    """What GP12 and GP18 do: one-shot, charge pump, opto-couplers."""
    s = Schematic(netlist, "Driver: one-shot on GP12, charge pump on GP18", size=11.5)
    _pump(s)
    _one_shot(s, -9.3)
    _second_half(s, (16.6, -15.2))
    s.text(
        (-3.2, -15.4),
        "start",
        [
            "OK301 and OK302: their other halves are in the drawing of the chain.",
            "Both must be lit: the latch opens only while the heartbeat lives",
            "and GP12 is high, and no longer than the one-shot.",
            "IC301's numbers: hold them against your data sheet.",
        ],
    )
    return s


def _pump(s: Schematic) -> None:
    low = -1.9
    s.board_pin("GP18", (0, 0), "left", "heartbeat")
    s.wire((0, 0), (0.5, 0))
    s.two("R311", elm.ResistorIEC, ((0.5, 0), (2.5, 0)), "above")
    s.two("C311", elm.Capacitor, ((2.5, 0), (4.3, 0)), "above")
    s.wire((4.3, 0), (4.7, 0))
    s.two("D311", elm.Schottky, ((4.6, low), (4.6, 0)), "", ("A", "K"))
    s.beside((4.6, low / 2), ["D311"], "left", 0.4)
    s.ground((4.6, low))
    s.two("D312", elm.Schottky, ((4.7, 0), (6.5, 0)), "", ("A", "K"))
    s.beside((5.6, 0), ["D312"], "above", 0.42)
    s.wire((6.5, 0), (13.6, 0))
    s.two("C312", elm.Capacitor, ((7.0, 0), (7.0, low)), "right")
    s.ground((7.0, low))
    s.two("R312", elm.ResistorIEC, ((9.4, 0), (9.4, low)), "right")
    s.ground((9.4, low))
    _sink(s, (13.6, 0), ("Q301", "OK301", "R313", "R315", "D315"), "driver enabled")


def _sink(s: Schematic, gate: Point, names: tuple[str, str, str, str, str], light: str) -> None:
    """A MOSFET that draws the current of an opto-coupler and of a light from 5 V."""
    mosfet, opto, series, dim, lamp = names
    at = s.symbol(
        mosfet,
        elm.NFet().theta(0).reverse(),
        {"G": "gate", "D": "drain", "S": "source"},
        gate,
        "gate",
    )
    x, y = at["D"][0], gate[1]
    s.beside((x, y), [mosfet, "n-channel, small"], "right", 0.3)
    s.wire(at["S"], (x, y - 1.2))
    s.ground((x, y - 1.2))
    s.wire(at["D"], (x, y + 1.3))
    for column, diode, resistor in ((x, opto, series), (x + 3.3, lamp, dim)):
        s.two(diode, elm.LED, ((column, y + 2.7), (column, y + 1.3)), "", ("A", "K"))
        words = [diode, "opto-coupler"] if diode == opto else [diode, f'"{light}"']
        s.beside((column, y + 2.0), words, "right", 0.95)
        s.two(resistor, elm.ResistorIEC, ((column, y + 4.3), (column, y + 2.7)), "right")
        s.supply("5V", (column, y + 4.3))
    s.wire((x, y + 1.1), (x + 3.3, y + 1.1), (x + 3.3, y + 1.3))


def _one_shot(s: Schematic, y: float) -> None:
    left, right, top, bottom = 5.2, 9.4, y + 1.8, y - 1.7
    s.rectangle((left, bottom), (right, top), fill="#f7f7f7")
    s.text(((left + right) / 2, y + 0.2), "middle", ["IC301"], bold=True)
    s.text(((left + right) / 2, y - 0.25), "middle", ["one-shot"])
    inside = (
        ("3", y + 1.1, "reset"),
        ("4", y - 0.1, "start +"),
        ("5", y - 1.2, "start \N{MINUS SIGN}"),
    )
    for pin, height, name in inside:
        s.pin("IC301", pin, (left, height))
        s.text((left + 0.12, height - 0.12), "start", [name])
        s.text((left - 0.12, height + 0.12), "end", [pin])
    for pin, height, name in (("6", y + 1.1, "Q"), ("7", y - 1.2, "not Q")):
        s.pin("IC301", pin, (right, height))
        s.text((right - 0.12, height - 0.12), "end", [name])
        s.text((right + 0.12, height + 0.12), "start", [pin])
    _timing(s, top)
    s.board_pin("GP12", (0, y + 1.1), "left", "release drive")
    s.wire((0, y + 1.1), (left, y + 1.1))
    s.two("R302", elm.ResistorIEC, ((0.6, y + 1.1), (0.6, y - 0.7)), "left")
    s.ground((0.6, y - 0.7))
    s.wire((1.3, y + 1.1), (1.3, y - 0.1), (1.8, y - 0.1))
    s.two("R304", elm.ResistorIEC, ((1.8, y - 0.1), (3.6, y - 0.1)), "above")
    s.wire((3.6, y - 0.1), (left, y - 0.1))
    s.two("C304", elm.Capacitor, ((3.9, y - 0.1), (3.9, y - 1.7)), "left")
    s.ground((3.9, y - 1.7))
    back = y - 2.3
    s.wire(
        (left, y - 1.2),
        (4.6, y - 1.2),
        (4.6, back),
        (10.0, back),
        (10.0, y - 1.2),
        (right, y - 1.2),
    )
    s.wire((right, y + 1.1), (10.2, y + 1.1))
    s.two("R305", elm.ResistorIEC, ((10.2, y + 1.1), (12.0, y + 1.1)), "above")
    s.wire((12.0, y + 1.1), (13.6, y + 1.1))
    s.two("R306", elm.ResistorIEC, ((12.6, y + 1.1), (12.6, y - 0.7)), "left")
    s.ground((12.6, y - 0.7))
    _sink(s, (13.6, y + 1.1), ("Q302", "OK302", "R314", "R316", "D316"), "pulse")


def _timing(s: Schematic, top: float) -> None:
    rc, low, node = 6.0, 8.6, top + 0.9
    for pin, x, name in (("2", rc, "RC"), ("1", low, "GND")):
        s.pin("IC301", pin, (x, top))
        s.text((x, top - 0.42), "middle", [name])
        s.text((x - 0.12, top + 0.14), "end", [pin])
        s.wire((x, top), (x, node))
    s.two("C303", elm.Capacitor, ((rc, node), (low, node)), "above")
    s.two("R303", elm.ResistorIEC, ((rc, node + 1.8), (rc, node)), "left")
    s.supply("3V3", (rc, node + 1.8))
    s.wire((low, node), (low + 1.1, node))
    s.ground((low + 1.1, node))


def _second_half(s: Schematic, corner: Point) -> None:
    """Supply of the one-shot, and its half that is not used."""
    x, y = corner
    s.rectangle((x, y), (x + 3.4, y + 1.3), fill="#f7f7f7")
    s.text((x + 1.7, y + 0.55), "middle", ["IC301 unused half"])
    for row, pin in enumerate(("16", "14")):
        at = (x + 0.8 + 1.4 * row, y + 1.3)
        s.pin("IC301", pin, at)
        s.wire(at, (at[0], y + 2.0))
        s.text((at[0] + 0.1, y + 1.45), "start", [pin])
    s.wire((x - 1.2, y + 2.0), (x + 0.8, y + 2.0), (x + 2.2, y + 2.0))
    s.supply("3V3", (x + 0.8, y + 2.0))
    for row, pin in enumerate(("8", "11", "12", "13", "15")):
        at = (x + 0.35 + 0.68 * row, y)
        s.pin("IC301", pin, at)
        s.wire(at, (at[0], y - 0.7))
        s.text((at[0] + 0.1, y - 0.42), "start", [pin])
    s.wire((x - 1.2, y - 0.7), (x + 0.35, y - 0.7), (x + 3.07, y - 0.7))
    s.ground((x + 1.7, y - 0.7))
    s.two("C305", elm.Capacitor, ((x - 1.2, y + 2.0), (x - 1.2, y - 0.7)), "left")
