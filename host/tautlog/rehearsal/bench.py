"""Bench: the wires of a rehearsed rig, which somebody can open, short and exchange.

One word after another, such as ``open switch`` or ``key on``; see `HELP`. What hands do to sled and
line is for `stand`. A fault of a wire is what is wrong before a hand touches anything; what a hand
does comes on top of it: a wire that is shorted between box and board reads so although its end at
the box is open.

What an amplifier does whose input is open depends on the amplifier. Here signal + open parks it
high, signal - open parks it low, and shorted to excitation + they do the same; without
excitation - the level is a volt off; an open input of the converter lies at 1.1 V with no noise but
the converter's: own choices, for a rehearsal only.
"""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np

from tautlog.errors import CampaignError, QuantityError
from tautlog.firmware import wire
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.model.published_steps import QUIET_STEPS
from tautlog.model.wiring import INPUTS, input_bits
from tautlog.rehearsal import stand
from tautlog.rehearsal.coil_circuit import chain_made, driver_conducts, is_enabled, is_pulsed
from tautlog.rehearsal.electronics import Chain, FloatArray, ForceSource
from tautlog.rehearsal.scene import Scene
from tautlog.rehearsal.stand import Stand
from tautlog.rehearsal.wire_states import OPEN, SHORT, STUCK, WireStates

DEAD = 1e12  # newton per volt of a chain that does not respond to force
FLOATING_V = 1.1
OUTPUTS = ("lamp", "flash", "drive", "beat", "shunt")
CELL = ("signal+", "signal-", "signal", "excitation", "excitation-", "force")
# The coil's circuit: all contacts as one, the coil's wire to the driver, the two transistors,
# and the 5 V that the lights and the opto-couplers live on.
COIL = ("chain", "coil-low", "enable-mosfet", "pulse-mosfet", "vbus")
HELP = (
    *stand.HELP,
    ("pull N [CHANNEL]", "pull at the cell; 0 lets go"),
    ("key on|off", "turn the arm key"),
    ("latch open|closed", "work the empty latch"),
    ("coil in|out", "take the latch's coil off at the box, a test lamp in its place"),
    ("open WIRE, short WIRE, mend WIRE", f"wires: {', '.join((*INPUTS, *OUTPUTS, *CELL, *COIL))}"),
    ("fault open|short|stuck|exchanged|mended WIRE", "what is wrong before a hand touches it"),
    ("turn CHANNEL, unturn CHANNEL", "turn a cell or an accelerometer over"),
    ("see, clear", "what an eye saw since it was cleared"),
)
PULL = replace(q.PULL, name="pull", lowest=0.0, either_sign=True)


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
    stand : Stand
        Sled, line and the fault that is played.
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
        self.stand = Stand(scene)
        self.lock = threading.RLock()
        self._pulled_n: dict[str, float] = {}
        self._turned: set[str] = set()
        self._key_on = scene.behaviour.key_on
        self._coil_in = True
        self._bits = input_bits(readbacks)
        known = {"key-pole", *self._bits, *OUTPUTS, *CELL, *COIL, *scene.names[1:]}
        self._wires = WireStates(known)
        self.latch_closed = True
        self.touches = 0
        self.last_read = 0
        self.seen: set[str] = set()
        # What the wires make of outputs and inputs until something is done: asked at every step.
        self._lit_by: dict[int, set[str]] = {}
        self._bits_of: dict[int, int] = {}

    # What a hand does

    def do(self, text: str) -> str:
        """Do what a line says; what is seen, in words, or how the rig stands.

        Raises
        ------
        CampaignError
            If it says nothing that can be done, or nothing that can be done now.
        """
        words = text.split()
        with self.lock:
            try:
                told = self._do(words)
            except CampaignError:
                raise
            except QuantityError as problem:
                raise CampaignError(str(problem)) from problem
            except (IndexError, ValueError, KeyError):
                unknown = f"{text[:60]!r} is nothing to do; `help` lists the words"
                raise CampaignError(unknown) from None
            finally:
                self._lit_by.clear()
                self._bits_of.clear()
            self.touches += words[0] not in ("see", "clear", "where", "help")
            return told or " ".join(sorted(self.seen)) or "nothing lit"

    def _do(self, words: list[str]) -> str:
        """Do it; what to answer, or "" for what is seen."""
        verb, rest = words[0], words[1:]
        if verb in ("help", "where"):
            return self.where if verb == "where" else "; ".join(map(": ".join, HELP))
        if _is_for_the_stand(verb, rest):
            self.stand.words[verb](rest)
            self.latch_closed |= verb == "latch"
            if rest == ["none"]:
                self._wires.make_whole()
            return self.where
        self._work(verb, rest)
        return ""

    def _work(self, verb: str, rest: list[str]) -> None:
        """Do what concerns wires, key, latch and coil."""
        if verb == "see":
            return
        if verb == "clear":
            self.seen.clear()
        elif verb == "fault":
            self._wires.spoil(rest[0], " ".join(rest[1:]))
        elif verb in ("open", "short", "mend"):
            self._wires.touch(verb, " ".join(rest))
        elif verb == "key":
            self._key_on = {"on": True, "off": False}[rest[0]]
        elif verb == "latch":
            self._work_latch(closed={"closed": True, "open": False}[rest[0]])
        elif verb == "coil":
            self._coil_in = {"in": True, "out": False}[rest[0]]
        elif verb == "pull":
            pulled_n, more = stand.stated(rest, PULL)
            self._pulled_n[self._channel(" ".join(more))] = pulled_n
        elif verb in ("turn", "unturn"):
            name = self._channel(" ".join(rest))
            (self._turned.add if verb == "turn" else self._turned.discard)(name)
        else:
            raise ValueError(verb)

    def _work_latch(self, *, closed: bool) -> None:
        """Open or close the latch by hand, with nothing on it."""
        if not closed and self.stand.sled == stand.RAISED:
            raise CampaignError(
                "the sled is raised on it: `lower` it first; `hand` pulls the pin of an armed rig"
            )
        self.latch_closed = closed
        if closed:
            self.stand.hook()

    def _channel(self, name: str) -> str:
        """The name of a channel beyond the first, or "" for the first."""
        if name not in ("", self.stand.scene.first, *self.stand.scene.names[1:]):
            raise KeyError(name)
        return "" if name == self.stand.scene.first else name

    # What the board reads

    def read(self, inputs: int) -> int:
        """Input bits behind the wires.

        Parameters
        ----------
        inputs : int
            Bits as the rig itself closes its contacts.
        """
        with self.lock:
            if inputs not in self._bits_of:
                self._bits_of[inputs] = self._behind_the_wires(inputs)
            self.last_read = self._bits_of[inputs]
            return self.last_read

    def _behind_the_wires(self, inputs: int) -> int:
        at_contacts = {name: bool(inputs & bit) for name, bit in self._bits.items()}
        at_contacts["switch"] &= self.latch_closed
        at_contacts["key"] = self._key_on
        at_contacts = {
            name: (closed and self._wires.hand.get(name) != OPEN)
            or self._wires.hand.get(name) == SHORT
            for name, closed in at_contacts.items()
        }
        if {"article-wire", "mount-wire"} & self._wires.exchanged:
            article, mount = at_contacts["article-wire"], at_contacts["mount-wire"]
            at_contacts |= {"article-wire": mount, "mount-wire": article}
        bits: int = inputs & ~sum(self._bits.values())  # what the bench knows nothing of
        for name, closed in at_contacts.items():
            fault = self._wires.fault.get(name)
            if fault == SHORT or (closed and fault != OPEN):
                bits |= self._bits[name]
        return bits

    @property
    def shunt_v(self) -> float:
        """Step of the shunt at the converter while the board asks for it."""
        with self.lock:
            broken = (*CELL, "shunt")
            whole = all(self._wires.passes(name) for name in broken)
            stuck = self._wires.is_so("shunt", STUCK)  # it is there already
            return self.stand.scene.behaviour.shunt_v if whole and not stuck else 0.0

    def chain(self, chain: Chain, name: str) -> Chain:
        """The electronics of a channel as its wires leave it; "" for the first channel."""
        with self.lock:
            return _through(self._wires, chain, name, self.stand.scene.behaviour.shunt_v)

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
            return self._coil_in and "coil" in self._lit(outputs)

    def watch(self, outputs: int) -> None:
        """See what the board's outputs light."""
        with self.lock:
            self.stand.armed = bool(outputs & wire.OUTPUT_LAMP)
            self.seen |= self._lit(outputs)

    def _lit(self, outputs: int) -> set[str]:
        """What these outputs light, as the wires are."""
        if outputs not in self._lit_by:
            self._lit_by[outputs] = self._lights(outputs)
        return self._lit_by[outputs]

    def _lights(self, outputs: int) -> set[str]:
        lit = {
            "lamp": bool(outputs & wire.OUTPUT_LAMP) and self._wires.passes("lamp"),
            "flash": bool(outputs & wire.OUTPUT_FLASH) and self._wires.passes("flash"),
            "chain": chain_made(self._wires, key_on=self._key_on),
            "enable": is_enabled(self._wires, outputs),
            "pulse": is_pulsed(self._wires, outputs),
            "coil": driver_conducts(self._wires, outputs, key_on=self._key_on),
        }
        lit["lamp"] |= self._wires.is_so("lamp", STUCK)
        lit["lamp"] &= self._wires.passes("vbus")
        lit["flash"] &= self._wires.passes("vbus")
        return {name for name, is_lit in lit.items() if is_lit}

    def stands(self, units: Units = SI) -> list[tuple[str, str]]:
        """How the rig stands, thing by thing."""
        with self.lock:
            pulls = [
                f"{units.text(n, 'N', 'g')} {name}".strip()
                for name, n in self._pulled_n.items()
                if n
            ]
            return [
                ("sled", self.stand.sled_said(units)),
                ("rig", self.stand.rig_said(units)),
                ("weights on the cell", self.stand.load_said(units)),
                ("pulled", ", ".join(pulls) or "nothing"),
                ("latch", self._latch_text),
                ("coil", "in" if self._coil_in else "out, a test lamp in its place"),
                ("key", "on" if self._key_on else "off"),
                ("board", "ARMED" if self.stand.armed else "not armed"),
                ("wires", self._wires.text),
                ("fault", self.stand.fault or "none"),
            ]

    @property
    def _latch_text(self) -> str:
        if not self.latch_closed:
            return "opened by hand"
        return "holds the sled" if self.stand.sled == stand.RAISED else "empty"

    @property
    def where(self) -> str:
        """How the rig stands, in a line."""
        return "; ".join(f"{name}: {text}" for name, text in self.stands())


def _is_for_the_stand(verb: str, rest: list[str]) -> bool:
    """Whether a word is for sled, line and fault; `latch` and `fault` alone are, or with a name."""
    most = {"latch": 0, "fault": 1}
    return verb in stand.WORDS and len(rest) <= most.get(verb, len(rest))


def _through(wires: WireStates, chain: Chain, name: str, shunt_v: float) -> Chain:
    """The electronics of a channel behind its wires, with a shunt that may be stuck."""
    where = name or "force"
    if wires.is_so(where, SHORT):
        return _parked(chain, 0.0)
    if wires.is_so(where, OPEN):
        still = replace(chain, rail_low_v=0.0, noise_v=0.0, converter_noise_lsb=QUIET_STEPS)
        return replace(still, zero_v=FLOATING_V, newton_per_volt=DEAD)
    if name:
        return chain
    if not wires.passes("signal+"):
        return _parked(chain, chain.rail_high_v + 1.0)
    if not wires.passes("signal-"):
        return _parked(chain, chain.rail_low_v - 1.0)
    if not wires.passes("excitation-"):
        return _parked(chain, chain.zero_v + 1.0)
    if not wires.passes("signal") or not wires.passes("excitation"):
        return replace(chain, newton_per_volt=DEAD)
    if {"signal+", "signal-"} & wires.exchanged:
        chain = replace(chain, newton_per_volt=-chain.newton_per_volt)
    if wires.is_so("shunt", STUCK):
        chain = replace(chain, zero_v=chain.zero_v + shunt_v)
    return chain


def _parked(chain: Chain, level_v: float) -> Chain:
    """An amplifier at its limit, whatever the force."""
    low_v = min(chain.rail_low_v, level_v) if level_v == 0.0 else chain.rail_low_v
    return replace(chain, zero_v=level_v, newton_per_volt=DEAD, rail_low_v=low_v)
