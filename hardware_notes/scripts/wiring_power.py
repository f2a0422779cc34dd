"""Drawings of supplies and grounds, and of the whole: boxes and cables."""

from __future__ import annotations

import schemdraw.elements as elm
from lettering import Point
from netlist import Netlist
from schematic import ACCENT, Schematic

EDGE = 8.4  # of the box


def power(netlist: Netlist) -> Schematic:
    """Where each current comes from and returns to."""
    s = Schematic(netlist, "Power and ground: each current has its own way back", size=12)
    s.block((0, 2.4), (3.0, 3.8), ["LAPTOP", "on its battery"])
    s.pin("LAPTOP", "USB", (3.0, 3.1))
    s.rectangle((4.4, 2.65), (7.4, 3.55), dash="4 3")
    s.parts.add("U401")  # plugged into the cable, where there is one
    s.text((5.9, 3.75), "middle", ["U401* USB isolator"])
    _board(s)
    _halves(s)
    _coil_circuit(s)
    s.enclosure((EDGE, -6.3), (20.0, 4.7), "in the box")
    s.text((20.4, 4.82), "start", ["on the rig"], bold=True)
    s.text(
        (0, -0.9),
        "start",
        [
            "Star point: AGND and GND meet",
            "inside the Pico, nowhere else.",
            "The shield ends there too, and",
            "is open at the cell.",
            "The rig's metal is joined to",
            "none of these: the box stands",
            "on insulating feet.",
            "* optional",
        ],
    )
    return s


def _board(s: Schematic) -> None:
    s.rectangle((9.4, -1.9), (12.6, 4.2), fill="#f7f7f7")
    s.text((10.9, -1.0), "middle", ["PICO"], bold=True)
    s.wire((3.0, 3.1), (9.4, 3.1))
    s.pin("PICO", "USB", (9.4, 3.1))
    s.text((9.5, 2.98), "start", ["USB"])
    for name, height in (("VSYS", 3.6), ("AGND", 2.7), ("3V3", 1.2), ("GND", 0.3), ("VBUS", -1.2)):
        s.text((12.5, height - 0.12), "end", [name])
    s.path([(11.2, 2.7), (10.9, 2.7), (10.9, 0.3), (11.4, 0.3)], width=1.0, ink=ACCENT)
    s.text((10.75, 1.45), "end", ["star", "point"])


def _halves(s: Schematic) -> None:
    left, right = 15.0, 19.2
    s.block((left, 2.3), (right, 4.0), ["front end:", "excitation, amplifiers"])
    s.path([(12.6, 3.6), (left, 3.6)])
    s.path([(12.6, 2.7), (left, 2.7)])
    s.block((left, -0.1), (right, 1.6), ["pull-ups of the inputs,", "one-shot"])
    s.wire((12.6, 1.2), (14.4, 1.2), (left, 1.2))
    s.wire((14.4, 1.2), (14.4, 2.45), (left, 2.45))  # the amplifiers
    s.pin("PICO", "3V3", (12.6, 1.2))
    s.here("3V3", (left, 1.2))
    s.wire((12.6, 0.3), (13.6, 0.3), (left, 0.3))
    s.pin("PICO", "GND", (12.6, 0.3))
    s.here("GND", (left, 0.3))
    s.block((left, -2.5), (right, -0.8), ["lamp, flash,", "light of OK301, OK302"])
    s.wire((12.6, -1.2), (left, -1.2))
    s.pin("PICO", "VBUS", (12.6, -1.2))
    s.here("5V", (left, -1.2))
    s.wire((13.6, 0.3), (13.6, -2.1), (left, -2.1))
    for height, name in ((3.6, "5 V"), (1.2, "3.3 V"), (-1.2, "5 V")):
        s.text((13.0, height + 0.14), "start", [name])
    for height, words in (
        (3.15, ["cell: 4 wires", "and shield"]),
        (0.75, ["contacts,", "break wires"]),
        (-1.65, ["lamp, flash"]),
    ):
        s.path([(right, height), (20.6, height)])
        s.beside((20.6, height), words, "right", 0.15)


def _coil_circuit(s: Schematic) -> None:
    left, right = 15.0, 19.2
    s.block((left, -5.5), (right, -3.8), ["coil circuit: battery,", "fuse, driver"])
    s.path([(right, -4.65), (20.6, -4.65)])
    s.beside((20.6, -4.65), ["chain, coil"], "right", 0.15)
    s.path([(17.1, -2.5), (17.1, -3.8)], dash="3 3")
    s.path([(17.0, -3.55), (17.1, -3.8), (17.2, -3.55)])
    s.beside((17.1, -3.15), ["light only"], "right", 0.2)
    s.wire((13.6, -2.1), (13.6, -2.6))
    s.wire((13.6, -2.6), (EDGE, -2.6))
    s.terminal("BOX", "SCREW", (EDGE, -2.6), (0.3, 0.16))
    s.texts.pop()
    s.text((EDGE + 0.25, -2.4), "start", ["BOX: its metal, one screw"])
    s.two("R401", elm.ResistorIEC, ((13.6, -4.4), (13.6, -2.6)), "left")
    s.text((13.2, -4.4), "end", ["lets static charge leave;", "carries no current of the coil"])
    s.wire((13.6, -4.4), (13.6, -5.1), (left, -5.1))
    s.here("BATTERY_MINUS", (left, -5.1))
    s.text((13.3, -5.75), "start", ["battery \N{MINUS SIGN}"])


def overview(netlist: Netlist) -> Schematic:
    """All boxes, and each cable with its connector."""
    s = Schematic(netlist, "Overview: boxes and cables", size=11)
    s.enclosure((7.0, -1.6), (13.4, 13.2), "the box")
    for y, words in (
        (11.2, ["front end", "2_analogue.md"]),
        (6.2, ["PICO", "pins.md, 3_inputs.md"]),
        (1.4, ["driver, coil battery", "4_release.md"]),
    ):
        s.block((8.5, y - 0.8), (11.9, y + 0.8), words)
    _measurement(s)
    _release(s)
    return s


def _measurement(s: Schematic) -> None:
    rows = (
        (12.0, "J101", ["CELL", "load cell"], "4, shielded"),
        (9.9, "X211", ["S211", "release switch"], "2, twisted"),
        (7.8, "X231*", ["W231*", "break wire, article"], "2, twisted"),
        (5.7, "X241*", ["W241*", "break wire, mount"], "2, twisted"),
        (3.6, "X291", ["H291", "warning lamp"], "2"),
        (1.5, "X292", ["H292", "sync flash"], "2"),
    )
    for y, plug, words, wires in rows:
        s.block((0, y - 0.65), (4.2, y + 0.65), words)
        _cable(s, (4.2, y), (7.0, y), wires)
        s.text((7.2, y - 0.13), "start", [plug])
    y = -0.6
    s.block((0, y - 0.65), (1.9, y + 0.65), ["LAPTOP"])
    s.block((2.9, y - 0.65), (5.2, y + 0.65), ["U401*", "isolator"])
    _cable(s, (1.9, y), (2.9, y), "")
    _cable(s, (5.2, y), (7.0, y), "USB")
    s.text((7.2, y - 0.13), "start", ["PICO"])


def _release(s: Schematic) -> None:
    left, right, middle = 17.2, 22.2, 19.7
    rows = (
        (11.2, "X251*", ["S301  emergency stop", "by the operator"]),
        (9.4, "X261*", ["S302  zone gate", "in the fence"]),
        (7.6, "X271*", ["S303  pin switch", "at the pin"]),
        (5.8, "X221", ["S304  key", "goes with who is in the zone"]),
        (4.0, "", ["S305  button", "second person"]),
        (2.2, "", ["S306  button", "operator"]),
    )
    s.path([(13.4, 12.5), (middle, 12.5), (middle, 11.85)], width=2.6)
    for y, plug, words in rows:
        s.block((left, y - 0.65), (right, y + 0.65), words)
        s.path([(middle, y - 0.65), (middle, y - 1.15 if plug or y > 3 else y - 1.0)], width=2.6)
        if plug:
            _cable(s, (13.4, y), (left, y), "2, twisted")
            s.text((13.2, y - 0.13), "end", [plug])
    s.path([(middle, 1.2), (middle, 0.95), (13.4, 0.95)], width=2.6)
    s.text((13.6, 12.64), "start", ["chain, 2 wires of 1.5 mm²"])
    s.text((13.2, 12.37), "end", ["X301.1"])
    s.text((13.2, 0.82), "end", ["X301.2"])
    y = -0.6
    s.block((left, y - 0.65), (right, y + 0.65), ["L301  latch coil", "with D303, D304"])
    _cable(s, (13.4, y), (left, y), "2, twisted", 2.6)
    s.text((13.2, y - 0.13), "end", ["X302"])
    s.text(
        (0, -2.3),
        "start",
        [
            "* optional.  Thick: carries the coil's current. No plug fits another one's socket.",
            "The box stands on insulating feet; no metal of it touches the rig.",
        ],
    )


def _cable(s: Schematic, first: Point, second: Point, wires: str, width: float = 1.3) -> None:
    s.path([first, second], width=width, ink="black")
    if wires:
        s.text(((first[0] + second[0]) / 2, first[1] + 0.14), "middle", [wires])
