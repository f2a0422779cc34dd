"""The wiring drawings, all of them, and whether they show the netlist."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import wiring_analogue
import wiring_inputs
import wiring_power
import wiring_release
from netlist import Netlist
from schematic import Schematic

DRAWINGS: dict[str, Callable[[Netlist], Schematic]] = {
    "overview": wiring_power.overview,
    "front_end_1": wiring_analogue.cell,
    "front_end_2": wiring_analogue.amplifier,
    "inputs": wiring_inputs.inputs,
    "readbacks": wiring_inputs.readbacks,
    "lights": wiring_inputs.lights,
    "release_chain": wiring_release.chain,
    "release_driver": wiring_release.driver,
    "power": wiring_power.power,
}


def differences(netlist: Netlist, drawings: list[Schematic]) -> Iterator[str]:
    """Tell where the drawings, taken together, are not the netlist.

    Pins that a drawing joins must be of one net; pins of one net must be joined, in one place or
    by signs that name the net; each pin that is in a net must be drawn, once.
    """
    places: dict[str, list[set[str]]] = {}
    for drawing in drawings:
        for pins, flags in drawing.joined():
            nets = {netlist.net_of.get(pin, f"open: {pin}") for pin in pins} | flags
            if len(nets) > 1:
                yield f"{drawing.title}: {sorted(pins)} are joined, but are of {sorted(nets)}"
            for net in nets if pins else ():
                places.setdefault(net, []).append(flags)
    for net, signs in places.items():
        if len(signs) > 1 and not all(net in flags for flags in signs):
            yield f"{net} is drawn in {len(signs)} places, not all of which bear its name"
    drawn = [pin for drawing in drawings for pin, at in drawing.pins.items() for _ in at]
    for pin in sorted(netlist.net_of):
        if drawn.count(pin) != 1:
            yield f"{pin} is drawn {drawn.count(pin)} times"
