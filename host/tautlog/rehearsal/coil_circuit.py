"""Coil circuit: whether the latch's coil gets current, by wires, contacts, key and outputs."""

from __future__ import annotations

from tautlog.firmware import wire
from tautlog.rehearsal.wire_states import OPEN, SHORT, STUCK, WireStates


def chain_made(wires: WireStates, *, key_on: bool) -> bool:
    """Whether every contact of the chain is made; the buttons are held."""
    contacts = {name for name in (*wires.hand, *wires.fault) if name.startswith("contact ")}
    closed = all(wires.fault.get(name) == SHORT or wires.passes(name) for name in contacts)
    key_pole = key_on or wires.is_so("key-pole", SHORT)
    broken = wires.is_so("chain", OPEN) or wires.is_so("key-pole", OPEN)
    return (closed and key_pole and not broken) or wires.is_so("chain", SHORT)


def driver_conducts(wires: WireStates, outputs: int, *, key_on: bool) -> bool:
    """Whether the coil's place gets current."""
    on = {
        "enable-mosfet": is_enabled(wires, outputs),
        "pulse-mosfet": is_pulsed(wires, outputs),
    }
    conducts = all(
        (lit or wires.is_so(name, SHORT)) and not wires.is_so(name, OPEN)
        for name, lit in on.items()
    )
    low = conducts and not wires.is_so("coil-low", OPEN)
    return chain_made(wires, key_on=key_on) and (low or wires.is_so("coil-low", SHORT))


def is_pulsed(wires: WireStates, outputs: int) -> bool:
    """Whether the pulse reaches its transistor."""
    driven = bool(outputs & wire.OUTPUT_DRIVE) and wires.passes("drive")
    return (driven or wires.is_so("drive", STUCK)) and wires.passes("vbus")


def is_enabled(wires: WireStates, outputs: int) -> bool:
    """Whether the heartbeat enables the driver."""
    beats = bool(outputs & wire.OUTPUT_BEAT) and wires.passes("beat")
    return (beats or wires.is_so("beat", STUCK)) and wires.passes("vbus")
