"""Wiring: which signal connects to which pin of a board, and which parts a rig has.

A board tells its pins when it greets. They are kept, in words, with everything that was proven by
hand of its wires: a pin or channel that has changed since then is another wire.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tautlog.errors import JsonError
from tautlog.firmware import wire
from tautlog.model.key import stated
from tautlog.model.readbacks import bits_of, readbacks_from

# In the order of `pins` in the board's greeting, see firmware/wire.py.
SIGNALS = (
    *("switch", "key", "drive", "shunt", "lamp", "article-wire", "mount-wire", "flash", "beat"),
    *("conversion-start", "conversion-clock", "conversion-data"),
)
# Wires whose state the board reads as an input, with their bits.
INPUTS = {
    "switch": wire.INPUT_LATCHED,
    "key": wire.INPUT_KEY_ON,
    "article-wire": wire.INPUT_ARTICLE_WHOLE,
    "mount-wire": wire.INPUT_MOUNT_WHOLE,
}
MOST_PIN = 29  # of RP2040 and RP2350A, by their data sheets
_YES = ("yes", "no")


@dataclass(frozen=True)
class Fitted:
    """The parts that this rig has, besides those that every rig has."""

    article_wire: str = field(
        default="no", metadata=stated("A break wire across the article: yes or no.", choices=_YES)
    )
    mount_wire: str = field(
        default="no", metadata=stated("A break wire across the mount: yes or no.", choices=_YES)
    )
    lamp: str = field(
        default="yes", metadata=stated("The warning lamp or sounder: yes or no.", choices=_YES)
    )
    flash: str = field(
        default="no", metadata=stated("The sync flash for a camera: yes or no.", choices=_YES)
    )
    driver: str = field(
        default="yes",
        metadata=stated(
            "A driver that opens the latch. no: a hand pulls the pin, `tautlog drop "
            "--hand-release`.",
            choices=_YES,
        ),
    )
    contacts: str = field(
        default="",
        metadata=stated(
            "Contacts in series with the latch's coil besides the key, in words between commas.",
            "emergency stop, zone gate, pin switch",
        ),
    )

    @property
    def contact_names(self) -> tuple[str, ...]:
        """Names of the contacts in series with the coil, each once."""
        names = (" ".join(name.split()) for name in self.contacts.split(","))
        return tuple(dict.fromkeys(name for name in names if name))


@dataclass(frozen=True)
class Wiring:
    """What connects to which pin of a board.

    Attributes
    ----------
    pins : dict of str to int
        GPIO numbers by signal; a signal that nobody uses is left out.
    channels : dict of str to int
        GPIO numbers by channel; -1 behind a 16-bit converter.
    flash_ms : int
        Length of the flash; 0 for none.
    readbacks : dict of str to int
        GPIO numbers of the contacts that the board reads back, by name, in the order of their bits.
    """

    pins: Mapping[str, int]
    channels: Mapping[str, int]
    flash_ms: int = 0
    readbacks: Mapping[str, int] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The same as one line of JSON, always in the same words for the same wiring."""
        parts = {
            "pins": dict(self.pins),
            "channels": [[name, pin] for name, pin in self.channels.items()],
            "flash_ms": self.flash_ms,
            "readbacks": [[name, pin] for name, pin in self.readbacks.items()],
        }
        return json.dumps(parts, separators=(",", ":"), sort_keys=True)

    def pin(self, signal: str) -> str:
        """The pin of a signal or channel, in words: ``GP10``."""
        number = {**self.channels, **self.pins, **self.readbacks}.get(signal, -1)
        return "a converter" if number < 0 else f"GP{number}"

    def changes(self, now: Wiring) -> tuple[str, ...]:
        """What of this wiring is otherwise now, in words."""
        before, after = self._flat(), now._flat()
        names = dict.fromkeys((*before, *after))
        return tuple(
            f"{name} was {before.get(name, 'not there')}, is {after.get(name, 'not there')}"
            for name in names
            if before.get(name) != after.get(name)
        )

    def _flat(self) -> dict[str, object]:
        found: dict[str, object] = {name: f"GP{pin}" for name, pin in self.pins.items()}
        for place, (name, pin) in enumerate(self.channels.items()):
            where = f"GP{pin}" if pin >= 0 else "the 16-bit converter"
            found[f"channel {place + 1}"] = f"{name!r} on {where}"
        found |= {f"readback {name!r}": f"GP{pin}" for name, pin in self.readbacks.items()}
        return found | {"the flash": f"{self.flash_ms} ms"}


def wiring_of(hello: Mapping[str, Any]) -> str:
    """The wiring that a greeting tells, as text; "" if it does not tell, or tells nonsense."""
    numbers, channels = hello.get("pins"), hello.get("channels")
    if not isinstance(numbers, list) or not isinstance(channels, list):
        return ""
    if len(numbers) != len(SIGNALS) + len(channels) or not all(map(_is_pin, numbers)):
        return ""
    try:
        back = {one.name: one.gpio for one in readbacks_from(hello.get("readbacks"))}
    except ValueError:
        return ""
    flash_ms = hello.get("flash_ms")
    if isinstance(flash_ms, bool) or not isinstance(flash_ms, int):
        return ""
    named = zip(SIGNALS, numbers, strict=False)
    pins = {name: pin for name, pin in named if pin >= 0}
    own = dict(zip(map(str, channels), numbers[len(SIGNALS) :], strict=True))
    return Wiring(pins, own, flash_ms, back).text


def read_wiring(text: str) -> Wiring:
    """The wiring of a text that `Wiring.text` made.

    Raises
    ------
    JsonError
        If it is no such text.
    """
    try:
        parts = json.loads(text)
        pins, flash_ms = dict(parts["pins"]), parts["flash_ms"]
        made = Wiring(pins, dict(parts["channels"]), flash_ms, dict(parts["readbacks"]))
        numbers = [*made.pins.values(), *made.channels.values(), *made.readbacks.values()]
        right = bool(made.channels) and all(map(_is_pin, numbers)) and made.text == text
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        right = False
    if not right:
        raise JsonError(f"wiring = {text[:60]!r}: expected what a board tells of its pins")
    return made


def input_bits(readbacks: Iterable[str]) -> dict[str, int]:
    """The input bit of every wire that is read as an input, by its name."""
    return INPUTS | bits_of(readbacks)


def _is_pin(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and -1 <= value <= MOST_PIN
