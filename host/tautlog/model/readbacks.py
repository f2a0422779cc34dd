"""Readbacks: contacts of the release chain that a board sees, and what an open one means.

The board looks at them in its main loop, not in hardware, and they only withhold. They are no
safety function: the chain's own contacts open the coil's circuit, whatever is read here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tautlog.firmware import wire

PIN = "pin"  # its contact is made when the pin is OUT
HIGHEST_GPIO = 22
# What an open contact says; or its wire is open. One for each of `wire.READBACKS`.
MEANINGS = {
    "stop": "the emergency stop is pressed",
    "gate": "the zone gate is open",
    "pin": "the pin is in",
    "screen": "the screen is not in its place",
    "supply": "the coil's supply is missing",
}
MENDS = {
    "stop": "find out why it was pressed before it is reset",
    "gate": "see that nobody is in the zone, and close it",
    "pin": "pull it last, from outside the line",
    "screen": "put it back",
    "supply": "look at fuse, stop and plug, key off",
}


@dataclass(frozen=True)
class Readback:
    """A contact that a board reads back.

    Attributes
    ----------
    name : str
        One of `wire.READBACKS`.
    gpio : int
        Its pin, by GPIO number.
    """

    name: str
    gpio: int


def readbacks_from(told: object) -> tuple[Readback, ...]:
    """Read the contacts of a board's greeting, in the order of their bits; none if None.

    Raises
    ------
    ValueError
        If a name or a pin has no meaning, is there twice, or there are too many.
    """
    if told is None:
        return ()
    if not isinstance(told, list) or len(told) > wire.MOST_READBACKS:
        raise ValueError(f"readbacks = {told!r}, expected at most {wire.MOST_READBACKS} pairs")
    found = []
    for pair in told:
        if not isinstance(pair, list) or len(pair) != 2:
            raise ValueError(f"readback {pair!r}, expected a name and a GPIO number")
        name, gpio = pair
        is_gpio = isinstance(gpio, int) and not isinstance(gpio, bool)
        if name not in wire.READBACKS or not is_gpio or not 0 <= gpio <= HIGHEST_GPIO:
            raise ValueError(f"readback {pair!r}, expected one of {', '.join(wire.READBACKS)}")
        found.append(Readback(name, gpio))
    if len({one.name for one in found}) < len(found) or len({one.gpio for one in found}) < len(
        found
    ):
        raise ValueError(f"readbacks = {told!r}, a name or a pin is there twice")
    return tuple(found)


def bits_of(names: Iterable[str]) -> dict[str, int]:
    """The input bit of each contact, by its name; names in the order of their bits."""
    return {name: wire.INPUT_READBACK << place for place, name in enumerate(names)}


def open_names(readbacks: Sequence[Readback], inputs: int) -> tuple[str, ...]:
    """Names of the contacts that are open in the input bits of a status."""
    bits = bits_of(one.name for one in readbacks)
    return tuple(name for name, bit in bits.items() if not inputs & bit)


def open_text(name: str) -> str:
    """The text of an open contact."""
    return f"{name} open: {MEANINGS[name]}, or the wire of its contact is open"


def name_of(reason: int) -> str:
    """The contact that a board's reason names, or "" if it is another reason."""
    place = reason - wire.READBACK_OPEN
    return wire.READBACKS[place] if 0 <= place < len(wire.READBACKS) else ""


def reason_text(reason: int) -> str:
    """The text of a board's reason, see `wire.REASONS`; an unknown number is named as unknown."""
    if name := name_of(reason):
        return open_text(name)
    if reason in wire.REASONS:
        return str(wire.REASONS[reason][1])
    return f"reason {reason}, unknown to this tautlog"


def change_text(value: int) -> str:
    """What an event `readback` says."""
    place, closed = divmod(value, 2)
    name = wire.READBACKS[place] if 0 <= place < len(wire.READBACKS) else f"readback {place}"
    return f"{name} {'closed' if closed else 'opened'}"
