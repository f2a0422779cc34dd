"""Drawings of the front end: cell and excitation, and the way of the signal to the converter."""

from __future__ import annotations

import schemdraw.elements as elm
from lettering import Point, shown
from netlist import Netlist
from schematic import Schematic

TRIANGLE = 4.0  # length of the instrumentation amplifier's sign


def cell(netlist: Netlist) -> Schematic:
    """Cell, its plug, excitation, input filter and shunt."""
    s = Schematic(netlist, "Front end 1: cell, excitation, input filter, shunt", size=11.5)
    _excitation(s)
    _cable(s)
    _pulls(s)
    _shunt(s)
    s.enclosure((3.4, -18.6), (21.4, 3.5), "in the box")
    s.text((-1.4, 3.62), "start", ["on the rig"], bold=True)
    s.text(
        (-1.4, -19.2),
        "start",
        ["Names at arrows (EXC+ ...) are joined wherever the name stands. Triangle: AGND."],
    )
    return s


def _excitation(s: Schematic) -> None:
    y, low = 1.6, -0.4
    s.board_pin("VSYS", (6.4, y), "left", "5 V")
    s.wire((6.4, y), (6.6, y))
    s.two("R101", elm.ResistorIEC, ((6.6, y), (8.2, y)), "above")
    s.wire((8.2, y), (9.6, y))
    s.two("C101", elm.Capacitor, ((8.6, y), (8.6, low)), "left")
    s.rectangle((9.6, y - 0.7), (11.6, y + 0.7), fill="#f7f7f7")
    s.text((10.6, y + 0.3), "middle", ["U101"], bold=True)
    s.text((9.7, y - 0.1), "start", ["IN"])
    s.text((11.5, y - 0.1), "end", ["OUT"])
    s.text((10.6, y - 0.57), "middle", ["GND"])
    s.text((10.6, y + 0.9), "middle", [shown(s.netlist.value("U101"))])
    s.pin("U101", "IN", (9.6, y))
    s.pin("U101", "OUT", (11.6, y))
    s.pin("U101", "GND", (10.6, y - 0.7))
    s.wire((10.6, y - 0.7), (10.6, low))
    s.wire((11.6, y), (17.2, y))
    s.two("C102", elm.Capacitor, ((12.3, y), (12.3, low)), "right")
    s.two("R102", elm.ResistorIEC, ((14.1, y), (14.1, low)), "right")
    s.two("D102", elm.Zener, ((16.2, low), (16.2, y)), "right", ("A", "K"))
    s.wire((8.6, low), (10.6, low), (12.3, low), (14.1, low), (16.2, low))
    s.ground((10.6, low), "AGND")
    s.wire((13.2, y), (13.2, y + 0.6))
    _point(s, "TP101", (13.2, y + 0.6))
    s.board_pin("ADC_VREF", (17.2, y), "right", "reference")
    s.wire((15.2, y), (15.2, y + 0.6))
    s.tag("EXC+", (15.2, y + 0.6), "right")


def _point(s: Schematic, name: str, at: Point) -> None:
    """A test point: a ring, with its name above."""
    s.terminal(name, "1", at, (0.16, 0.1))
    s.texts.pop()
    s.text((at[0], at[1] + 0.22), "middle", [name])


def _cable(s: Schematic) -> None:
    """The cell's five wires, through the plug, to the filter against radio."""
    edge, heights = 3.4, {"EXC+": -2.6, "SIG+": -4.2, "SIG-": -7.0, "EXC-": -10.0, "SHIELD": -11.2}
    s.rectangle((-1.4, -11.8), (1.4, -2.0), fill="#f7f7f7")
    s.text((-0.5, -6.2), "middle", ["CELL"], bold=True)
    s.text((-0.5, -6.7), "middle", shown(s.netlist.value("CELL")).split(", "))
    for name, plug in (
        ("EXC+", "1"),
        ("SIG+", "3"),
        ("SIG-", "4"),
        ("EXC-", "2"),
        ("SHIELD", "SHELL"),
    ):
        y = heights[name]
        s.pin("CELL", name, (1.4, y))
        s.text((1.3, y - 0.12), "end", [name.replace("-", "\N{MINUS SIGN}")])
        s.wire((1.4, y), (edge, y))
        s.terminal("J101", plug, (edge, y), (0.14, 0.16))
    s.text((2.4, -1.9), "middle", ["J101"])
    s.text((3.7, -12.1), "start", ["shell: insulated from the box"])
    s.wire((edge, -2.6), (4.9, -2.6))
    s.tag("EXC+", (4.9, -2.6), "right")
    for y, series, low, name in ((-4.2, "R103", "C104", "IN+"), (-7.0, "R104", "C105", "IN-")):
        s.wire((edge, y), (6.2, y))
        s.wire((4.3, y), (4.3, y + 0.75))
        net = name.replace("IN", "SIG")
        s.tag(net, (4.3, y + 0.75), "right", [net.replace("-", "\N{MINUS SIGN}")])
        s.two(series, elm.ResistorIEC, ((6.2, y), (8.0, y)), "above")
        s.wire((8.0, y), (12.2, y))
        s.tag(name, (12.2, y), "right", [name.replace("-", "\N{MINUS SIGN}"), "to U103"])
        s.two(low, elm.Capacitor, ((10.4, y), (10.4, y - 1.6)), "right")
        s.ground((10.4, y - 1.6), "AGND")
    s.wire((8.8, -4.2), (8.8, -4.7))
    s.two("C103", elm.Capacitor, ((8.8, -4.7), (8.8, -6.5)), "left")
    s.wire((8.8, -6.5), (8.8, -7.0))
    s.wire((edge, -10.0), (8.6, -10.0))
    s.board_pin("AGND", (8.6, -10.0), "right", "star point")
    s.wire((7.9, -10.0), (7.9, -9.5))
    _point(s, "TP104", (7.9, -9.5))
    s.wire((edge, -11.2), (5.4, -11.2))
    s.two("LK101", elm.Line, ((5.4, -11.2), (6.4, -11.2)))
    s.beside((5.6, -11.2), ["LK101 wire link"], "below", 0.15)
    s.wire((6.4, -11.2), (6.9, -11.2), (6.9, -10.0))
    s.ground((4.6, -10.0), "AGND")


def _pulls(s: Schematic) -> None:
    """Resistors that make an open or touching signal wire tell itself."""
    for x, name, upper, lower in ((14.4, "R105", "EXC+", "SIG-"), (17.0, "R106", "SIG+", "")):
        s.two(name, elm.ResistorIEC, ((x, -4.6), (x, -6.4)), "right", ("1", "2"))
        s.wire((x, -4.6), (x, -4.2))
        s.wire((x, -6.4), (x, -6.8))
        s.tag(upper, (x, -4.2), "right", [upper.replace("-", "\N{MINUS SIGN}")])
        if lower:
            s.tag(lower, (x, -6.8), "right", [lower.replace("-", "\N{MINUS SIGN}")])
        else:
            s.ground((x, -6.8), "AGND")


def _shunt(s: Schematic) -> None:
    y = -15.6
    s.board_pin("GP13", (6.4, y), "left", "shunt")
    s.wire((6.4, y), (6.8, y))
    s.two("R119", elm.ResistorIEC, ((6.8, y), (8.6, y)), "above")
    at = s.symbol(
        "Q101",
        elm.NFet().theta(0).reverse(),
        {"G": "gate", "D": "drain", "S": "source"},
        (10.6, y),
        "gate",
    )
    s.wire((8.6, y), at["G"])
    s.two("R120", elm.ResistorIEC, ((9.2, y), (9.2, y - 1.8)), "left")
    s.ground((9.2, y - 1.8), "AGND")
    x = at["D"][0]
    s.label("Q101", (x, y), "right", 0.3)
    s.wire(at["S"], (x, y - 1.8))
    s.ground((x, y - 1.8), "AGND")
    s.two("R118", elm.ResistorIEC, ((x, y + 2.8), (x, y + 1.0)), "right")
    s.wire((x, y + 1.0), at["D"])
    s.wire((x, y + 2.8), (x, y + 3.2))
    s.tag("SIG-", (x, y + 3.2), "right", ["SIG\N{MINUS SIGN}"])


def amplifier(netlist: Netlist) -> Schematic:
    """Zero, instrumentation amplifier, second stage, filter, converter input."""
    s = Schematic(netlist, "Front end 2: zero, amplifier, filter, converter input", size=11.5)
    _zero(s)
    _supply(s)
    _gain(s, -8.2)
    _second(s, -8.2)
    _filter(s, -15.7)
    return s


def _zero(s: Schematic) -> None:
    y = 0.0
    for x, name, net in ((0.0, "R107", "SIG+"), (2.6, "R108", "SIG-")):
        s.two(name, elm.ResistorIEC, ((x, y + 2.2), (x, y + 0.4)), "right")
        s.wire((x, y + 2.2), (x, y + 2.6))
        s.tag(net, (x, y + 2.6), "right", [net.replace("-", "\N{MINUS SIGN}")])
        s.wire((x, y + 0.4), (x, y))
    s.wire((0, y), (2.6, y), (4.4, y), (5.6, y), (6.6, y))
    s.two("C106", elm.Capacitor, ((2.6, y), (2.6, y - 1.8)), "left")
    s.ground((2.6, y - 1.8), "AGND")
    s.two("R109", elm.ResistorIEC, ((4.9, y), (4.9, y - 1.8)), "right")
    placed = s.symbol(
        "R110",
        elm.PotentiometerIEC().theta(-90).length(2.2),
        {"1": "start", "3": "end", "W": "tap"},
        (4.9, y - 1.8),
        "start",
    )
    tap = placed["W"]
    s.wire(tap, (tap[0] + 0.3, tap[1]), (tap[0] + 0.3, y - 4.0), (4.9, y - 4.0))
    s.ground((4.9, y - 4.0), "AGND")
    s.label("R110", (4.9, tap[1]), "left")
    out = _follower(s, (6.6, y), "A", "U102 A")
    s.wire(out, (10.6, out[1]))
    s.tag("ZERO", (10.6, out[1]), "right")
    s.wire((10.0, out[1]), (10.0, out[1] + 0.6))
    _point(s, "TP102", (10.0, out[1] + 0.6))


def _follower(s: Schematic, plus: Point, half: str, name: str) -> Point:
    """An op-amp whose output goes to its inverting input; gives the output's place."""
    at = s.symbol(
        "U102",
        elm.Opamp(leads=False).theta(0),
        {f"{half}-": "in1", f"{half}+": "in2", f"{half}OUT": "out"},
        plus,
        "in2",
    )
    low, out = at[f"{half}-"], at[f"{half}OUT"]
    top = low[1] + 1.0
    s.wire(
        low,
        (low[0] - 0.3, low[1]),
        (low[0] - 0.3, top),
        (out[0] + 0.4, top),
        (out[0] + 0.4, out[1]),
        out,
    )
    s.text((low[0] + 0.8, top + 0.15), "start", [name])
    return (out[0] + 0.4, out[1])


def _supply(s: Schematic) -> None:
    """Supply of the amplifiers, and the quarter of U102 that is left over."""
    x, y, low = 12.4, 1.9, 0.0
    s.supply("3V3", (x, y + 0.5))
    s.wire((x, y + 0.5), (x, y), (x + 0.5, y))
    s.two("R117", elm.ResistorIEC, ((x + 0.5, y), (x + 2.1, y)), "below")
    s.wire((x + 2.1, y), (x + 6.6, y))
    for column, name in ((x + 2.5, "C111"), (x + 4.1, "C112"), (x + 5.9, "C113")):
        s.two(name, elm.Capacitor, ((column, y), (column, low)), "right")
    s.wire((x + 2.5, low), (x + 4.1, low), (x + 5.9, low))
    s.ground((x + 4.1, low), "AGND")
    s.wire((x + 6.6, y), (x + 6.6, y + 0.5))
    s.supply("3V3A", (x + 6.6, y + 0.5))
    s.rectangle((x + 0.2, -4.2), (x + 2.4, -2.6), fill="#f7f7f7")
    s.text((x + 1.3, -3.5), "middle", ["U102 supply"])
    for pin, at in (("V+", (x + 1.3, -2.6)), ("V-", (x + 1.3, -4.2))):
        s.pin("U102", pin, at)
        name = pin.replace("-", "\N{MINUS SIGN}")
        s.text((at[0], at[1] - 0.35 if pin == "V+" else at[1] + 0.12), "middle", [name])
    s.wire((x + 1.3, -2.6), (x + 1.3, -2.2))
    s.supply("3V3A", (x + 1.3, -2.2))
    s.ground((x + 1.3, -4.2), "AGND")
    s.tag("ZERO", (x + 3.9, -4.2), "left")
    s.wire((x + 3.9, -4.2), (x + 4.3, -4.2))
    _follower(s, (x + 4.3, -4.2), "D", "U102 D, spare")


def _gain(s: Schematic, y: float) -> None:
    """The instrumentation amplifier with its gain resistor."""
    left, half = 3.4, 2.2
    tip = left + TRIANGLE
    s.path([(left, y + half), (left, y - half), (tip, y), (left, y + half)])
    s.text((left + 0.95, y - 0.12), "start", ["U103"], bold=True)
    for pin, height in (("IN+", 1.7), ("RG1", 0.8), ("RG2", -0.8), ("IN-", -1.7)):
        s.pin("U103", pin, (left, y + height))
    for pin, height in (("IN+", 1.7), ("IN-", -1.7)):
        s.wire((1.2, y + height), (left, y + height))
        s.tag(pin, (1.2, y + height), "left", [pin.replace("-", "\N{MINUS SIGN}")])
        s.text(
            (left + 0.1, y + height - (0.25 if height > 0 else -0.05)),
            "start",
            [pin.replace("-", "\N{MINUS SIGN}")],
        )
    s.two("R116", elm.ResistorIEC, ((2.6, y + 0.8), (2.6, y - 0.8)), "left")
    s.wire((2.6, y + 0.8), (left, y + 0.8))
    s.wire((2.6, y - 0.8), (left, y - 0.8))
    for height in (0.8, -0.8):
        s.text((left + 0.1, y + height - 0.12), "start", ["RG"])
    for pin, x, sign in (("V+", left + 1.2, 1), ("V-", left + 1.0, -1), ("REF", left + 2.0, -1)):
        at = (x, round(y + sign * half * (1 - (x - left) / TRIANGLE), 4))
        s.pin("U103", pin, at)
        end = (x, y + sign * 2.7)
        if pin != "REF":
            name = pin.replace("-", "\N{MINUS SIGN}")
            s.text((x, at[1] - 0.42 if sign > 0 else at[1] + 0.2), "middle", [name])
        s.wire(at, end)
        if pin == "V+":
            s.supply("3V3A", end)
        elif pin == "V-":
            s.ground(end, "AGND")
        else:
            s.wire(end, (x + 0.6, end[1]))
            s.tag("ZERO", (x + 0.6, end[1]), "right")
            s.text((x + 0.1, at[1] - 0.55), "start", ["REF"])
    s.pin("U103", "OUT", (tip, y))
    s.wire((tip, y), (9.6, y))


def _second(s: Schematic, y: float) -> None:
    at = s.symbol(
        "U102",
        elm.Opamp(leads=False).theta(0),
        {"B-": "in1", "B+": "in2", "BOUT": "out"},
        (9.6, y),
        "in2",
    )
    minus, out = at["B-"], at["BOUT"]
    s.text((minus[0] + 0.3, y - 1.0), "start", ["U102 B"])
    node, end, top = minus[0] - 0.3, out[0] + 0.4, minus[1] + 1.3
    s.wire(minus, (node, minus[1]), (node, top), (node, top + 1.2), (10.0, top + 1.2))
    s.wire((node, top), (9.6, top))
    s.two("R111", elm.ResistorIEC, ((11.4, top), (9.6, top)), "above")
    s.two("C107", elm.Capacitor, ((11.8, top + 1.2), (10.0, top + 1.2)), "above")
    s.wire((11.4, top), (end, top))
    s.wire((11.8, top + 1.2), (end, top + 1.2), (end, out[1]), out)
    s.two("R112", elm.ResistorIEC, ((node, minus[1]), (node - 1.8, minus[1])), "below")
    s.tag("ZERO", (node - 1.8, minus[1]), "left")
    s.wire((end, out[1]), (13.4, out[1]))
    s.tag("STAGE2", (13.4, out[1]), "right", ["to the filter"])


def _filter(s: Schematic, y: float) -> None:
    s.tag("STAGE2", (0.4, y), "left", ["second", "stage"])
    s.wire((0.4, y), (0.8, y))
    s.two("R113", elm.ResistorIEC, ((0.8, y), (2.6, y)), "above")
    s.wire((2.6, y), (3.4, y))
    s.two("R114", elm.ResistorIEC, ((3.4, y), (5.2, y)), "above")
    s.wire((5.2, y), (6.6, y))
    s.two("C109", elm.Capacitor, ((5.7, y), (5.7, y - 1.8)), "left")
    s.ground((5.7, y - 1.8), "AGND")
    out = _follower(s, (6.6, y), "C", "U102 C")
    top = y + 3.4
    s.wire((3.0, y), (3.0, top), (5.2, top))
    s.two("C108", elm.Capacitor, ((5.2, top), (7.0, top)), "above")
    s.wire((7.0, top), (out[0], top), (out[0], y + 2.25))
    _converter(s, out)


def _converter(s: Schematic, out: Point) -> None:
    x, y = out
    s.wire(out, (x + 0.3, y))
    s.two("R115", elm.ResistorIEC, ((x + 0.3, y), (x + 2.1, y)), "above")
    s.wire((x + 2.1, y), (16.0, y))
    s.two("C110", elm.Capacitor, ((x + 2.7, y), (x + 2.7, y - 1.8)), "left")
    s.ground((x + 2.7, y - 1.8), "AGND")
    column = x + 3.6
    s.pin("D101", "COM", (column, y))
    s.two("D101", elm.Schottky, ((column, y - 1.8), (column, y)), "", ("A", "COM"))
    s.pins["D101.COM"].pop()
    s.two("D101", elm.Schottky, ((column, y), (column, y + 1.8)), "", ("COM", "K"))
    s.pins["D101.COM"].pop()
    s.beside((column, y - 0.9), ["D101", "Schottky pair"], "right", 0.5)
    s.supply("3V3", (column, y + 1.8))
    s.ground((column, y - 1.8), "AGND")
    s.wire((column + 1.2, y), (column + 1.2, y + 0.6))
    _point(s, "TP103", (column + 1.2, y + 0.6))
    s.board_pin("GP26", (16.0, y), "right", "force")
