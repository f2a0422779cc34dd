"""Bench: the wires of a rehearsed rig, which somebody can open, short and exchange.

One word after another, such as ``open switch`` or ``key on``; see `WORDS`. A fault is what is wrong
before a hand touches anything; what a hand does comes on top of it: a wire that is shorted
between box and board reads so although its end at the box is open.

What an amplifier does whose input is open depends on the amplifier. Here signal + open parks it
high, signal - open parks it low, and shorted to excitation + they do the same; without
excitation - the level is a volt off; an open input of the converter lies at 1.1 V with no noise but
the converter's: own choices, for a rehearsal only.
"""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np

from tautlog.errors import CampaignError
from tautlog.firmware import wire
from tautlog.model.published_steps import QUIET_STEPS
from tautlog.model.wiring import input_bits
from tautlog.rehearsal.electronics import Chain, FloatArray, ForceSource
from tautlog.rehearsal.scene import Scene

DEAD = 1e12  # newton per volt of a chain that does not respond to force
FLOATING_V = 1.1
OUTPUTS = ("lamp", "flash", "drive", "beat", "shunt")
CELL = ("signal+", "signal-", "signal", "excitation", "excitation-", "force")
# The coil's circuit: all contacts as one, the coil's wire to the driver, the two transistors,
# and the 5 V that the lights and the opto-couplers live on.
COIL = ("chain", "coil-low", "enable-mosfet", "pulse-mosfet", "vbus")
OPEN, SHORT, MENDED, STUCK = "open", "short", "mended", "stuck"
WORDS = (
    "open WIRE, short WIRE, mend WIRE, fault open WIRE, fault short WIRE, fault stuck WIRE, "
    "fault exchanged WIRE, fault mended WIRE, key on|off, latch open|closed, coil out|in, "
    "pull NEWTON [CHANNEL], turn CHANNEL, unturn CHANNEL, clear, see"
)


class Bench:
    """The wires of one rig; several threads may use it.

    Parameters
    ----------
    scene : Scene
        The rig as it is built.
    readbacks : tuple of str
        Names of the contacts that the board reads back, in the order of their bits.

    Attributes
    ----------
    touches : int
        How often something was done.
    latch_closed : bool
        A hand left the latch closed.
    last_read : int
        Input bits as the board read them last.
    lock : RLock
        Held while a step of time passes, so that nothing is done within one.
    seen : set of str
        What an eye saw since it was cleared: lamp, flash, coil; of the lights on the box chain,
        enable, pulse. The buttons of the chain are always held.
    """

    def __init__(self, scene: Scene, readbacks: tuple[str, ...] = ()) -> None:
        self._scene = scene
        self.lock = threading.RLock()
        self._hand: dict[str, str] = {}
        self._fault: dict[str, str] = {}
        self._pulled_n: dict[str, float] = {}
        self._turned: set[str] = set()
        self._exchanged: set[str] = set()
        self._key_on = scene.behaviour.key_on
        self._coil_in = True
        self._bits = input_bits(readbacks)
        self.latch_closed = True
        self.touches = 0
        self.last_read = 0
        self.seen: set[str] = set()

    # What a hand does

    def do(self, text: str) -> str:
        """Do what a line says; what is seen, in words.

        Raises
        ------
        CampaignError
            If it says nothing that can be done.
        """
        words = text.split()
        with self.lock:
            try:
                self._do(words)
            except (IndexError, ValueError, KeyError):
                raise CampaignError(f"{text[:60]!r} is nothing to do; there are {WORDS}") from None
            self.touches += words[0] not in ("see", "clear")
            return " ".join(sorted(self.seen)) or "nothing lit"

    def _do(self, words: list[str]) -> None:
        verb, rest = words[0], words[1:]
        if verb == "see":
            return
        if verb == "clear":
            self.seen.clear()
        elif verb == "fault":
            self._set(self._fault, rest[0], " ".join(rest[1:]))
        elif verb in ("open", "short", "mend"):
            self._set(self._hand, verb, " ".join(rest))
        elif verb == "key":
            self._key_on = {"on": True, "off": False}[rest[0]]
        elif verb == "latch":
            self.latch_closed = {"closed": True, "open": False}[rest[0]]
        elif verb == "coil":
            self._coil_in = {"in": True, "out": False}[rest[0]]
        elif verb == "pull":
            self._pulled_n[self._channel(" ".join(rest[1:]))] = float(rest[0])
        elif verb in ("turn", "unturn"):
            name = self._channel(" ".join(rest))
            (self._turned.add if verb == "turn" else self._turned.discard)(name)
        else:
            raise ValueError(verb)

    def _set(self, states: dict[str, str], word: str, name: str) -> None:
        """Bring a wire into a state."""
        known = {"key-pole", *self._bits, *OUTPUTS, *CELL, *COIL, *self._scene.names[1:]}
        if name not in known and not name.startswith("contact "):
            raise KeyError(name)
        if word == "exchanged":
            self._exchanged.add(name)
            return
        states[name] = {"mend": MENDED, "mended": MENDED}.get(word, word)
        if states[name] not in (OPEN, SHORT, MENDED, STUCK):
            raise ValueError(word)

    def _channel(self, name: str) -> str:
        """The name of a channel beyond the first, or "" for the first."""
        if name not in ("", self._scene.first, *self._scene.names[1:]):
            raise KeyError(name)
        return "" if name == self._scene.first else name

    def _is(self, name: str, state: str) -> bool:
        return state in (self._fault.get(name), self._hand.get(name))

    def _passes(self, name: str) -> bool:
        """Whether a wire carries what it should."""
        return not (self._is(name, OPEN) or self._is(name, SHORT))

    # What the board reads

    def read(self, inputs: int) -> int:
        """Input bits behind the wires.

        Parameters
        ----------
        inputs : int
            Bits as the rig itself closes its contacts.
        """
        with self.lock:
            at_contacts = {name: bool(inputs & bit) for name, bit in self._bits.items()}
            at_contacts["switch"] &= self.latch_closed
            at_contacts["key"] = self._key_on
            at_contacts = {
                name: (closed and self._hand.get(name) != OPEN) or self._hand.get(name) == SHORT
                for name, closed in at_contacts.items()
            }
            if {"article-wire", "mount-wire"} & self._exchanged:
                article, mount = at_contacts["article-wire"], at_contacts["mount-wire"]
                at_contacts |= {"article-wire": mount, "mount-wire": article}
            bits: int = inputs & ~sum(self._bits.values())  # what the bench knows nothing of
            for name, closed in at_contacts.items():
                fault = self._fault.get(name)
                if fault == SHORT or (closed and fault != OPEN):
                    bits |= self._bits[name]
            self.last_read = bits
            return bits

    @property
    def shunt_v(self) -> float:
        """Step of the shunt at the converter while the board asks for it."""
        with self.lock:
            broken = (*CELL, "shunt")
            whole = all(self._passes(name) for name in broken)
            stuck = self._is("shunt", STUCK)  # it is there already
            return self._scene.behaviour.shunt_v if whole and not stuck else 0.0

    def chain(self, chain: Chain, name: str) -> Chain:
        """The electronics of a channel as its wires leave it; "" for the first channel."""
        with self.lock:
            where = name or "force"
            if self._is(where, SHORT):
                return _parked(chain, 0.0)
            if self._is(where, OPEN):
                still = replace(chain, rail_low_v=0.0, noise_v=0.0, converter_noise_lsb=QUIET_STEPS)
                return replace(still, zero_v=FLOATING_V, newton_per_volt=DEAD)
            if name:
                return chain
            if self._is("signal+", OPEN) or self._is("signal+", SHORT):
                return _parked(chain, chain.rail_high_v + 1.0)
            if self._is("signal-", OPEN) or self._is("signal-", SHORT):
                return _parked(chain, chain.rail_low_v - 1.0)
            if not self._passes("excitation-"):
                return _parked(chain, chain.zero_v + 1.0)
            if not self._passes("signal") or not self._passes("excitation"):
                return replace(chain, newton_per_volt=DEAD)
            if {"signal+", "signal-"} & self._exchanged:
                chain = replace(chain, newton_per_volt=-chain.newton_per_volt)
            if self._is("shunt", STUCK):
                chain = replace(chain, zero_v=chain.zero_v + self._scene.behaviour.shunt_v)
            return chain

    def source(self, name: str, still: ForceSource) -> ForceSource:
        """What a channel measures: at rest, or as a hand has it."""
        with self.lock:
            pulled_n, sign = self._pulled_n.get(name, 0.0), -1.0 if name in self._turned else 1.0

        def measured(time_s: FloatArray) -> FloatArray:
            return sign * np.asarray(still(time_s)) + pulled_n

        return measured

    # What an eye sees

    def coil_is_driven(self, outputs: int) -> bool:
        """Whether the latch's coil gets current."""
        with self.lock:
            return self._coil_in and self._driver_conducts(outputs)

    def _chain_made(self) -> bool:
        """Whether every contact is made; the buttons are held."""
        contacts = {name for name in (*self._hand, *self._fault) if name.startswith("contact ")}
        closed = all(self._fault.get(name) == SHORT or self._passes(name) for name in contacts)
        key_pole = self._key_on or self._is("key-pole", SHORT)
        broken = self._is("chain", OPEN) or self._is("key-pole", OPEN)
        return (closed and key_pole and not broken) or self._is("chain", SHORT)

    def _driver_conducts(self, outputs: int) -> bool:
        """Whether the coil's place gets current."""
        on = {
            "enable-mosfet": self._is_enabled(outputs),
            "pulse-mosfet": self._is_pulsed(outputs),
        }
        conducts = all(
            (lit or self._is(name, SHORT)) and not self._is(name, OPEN) for name, lit in on.items()
        )
        low = conducts and not self._is("coil-low", OPEN)
        return self._chain_made() and (low or self._is("coil-low", SHORT))

    def _is_pulsed(self, outputs: int) -> bool:
        driven = bool(outputs & wire.OUTPUT_DRIVE) and self._passes("drive")
        return (driven or self._is("drive", STUCK)) and self._passes("vbus")

    def _is_enabled(self, outputs: int) -> bool:
        beats = bool(outputs & wire.OUTPUT_BEAT) and self._passes("beat")
        return (beats or self._is("beat", STUCK)) and self._passes("vbus")

    def watch(self, outputs: int) -> None:
        """See what the board's outputs light."""
        with self.lock:
            lit = {
                "lamp": bool(outputs & wire.OUTPUT_LAMP) and self._passes("lamp"),
                "flash": bool(outputs & wire.OUTPUT_FLASH) and self._passes("flash"),
                "chain": self._chain_made(),
                "enable": self._is_enabled(outputs),
                "pulse": self._is_pulsed(outputs),
                "coil": self._driver_conducts(outputs),
            }
            lit["lamp"] |= self._is("lamp", STUCK)
            lit["lamp"] &= self._passes("vbus")
            lit["flash"] &= self._passes("vbus")
            self.seen |= {name for name, is_lit in lit.items() if is_lit}


def _parked(chain: Chain, level_v: float) -> Chain:
    """An amplifier at its limit, whatever the force."""
    low_v = min(chain.rail_low_v, level_v) if level_v == 0.0 else chain.rail_low_v
    return replace(chain, zero_v=level_v, newton_per_volt=DEAD, rail_low_v=low_v)
