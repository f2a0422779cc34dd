"""Stand: how a rehearsed rig stands: its sled, what hangs on its cells, and the fault it plays.

Hands at the rig change it, a word at a time; see `HELP`. What they could not do on a rig, or must
not, they are told: nobody goes to a rig that is armed, and nobody works under a raised sled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from tautlog.errors import CampaignError
from tautlog.mechanics.rig_model import RigModel
from tautlog.model import quantities as q
from tautlog.model.channels import FORCE, role_of
from tautlog.model.display_units import SI, Units
from tautlog.model.names import meant
from tautlog.model.quantities import Quantity
from tautlog.model.units import units_of
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.hung import shares_kg
from tautlog.rehearsal.scene import Scene

if TYPE_CHECKING:
    from tautlog.rehearsal.scene import Behaviour

RAISED, DOWN, HANGS, FALLEN = "raised", "down", "hangs", "fallen"
# What the rig does at once when a word was obeyed; see `Stand.taken`.
HOOK, PIN, CUT = "hook", "pin", "cut"
# A fault of a switch that a hand makes: it has a word of its own.
_BY_HAND = {"key-off": "key off", "not-latched": "lower, then latch open", "gate-open": "open gate"}
WORDS = "lower latch hang unhang hand mass height line fault cut".split()
HELP = (
    ("where", "how the rig stands"),
    ("lower", "let the sled down, off latch and line; what has parted is made whole"),
    ("latch", "raise the sled onto its latch, on a whole line"),
    ("hang", "let the sled hang on its line"),
    ("hang KG [CHANNEL]", "hang a weight on the cell, such as 20 or 45 lb; the sled is down"),
    ("unhang", "take off what hangs"),
    ("hand", "pull the pin by hand; the board is armed"),
    ("mass KG, height M, line N_PER_M", "load or set the sled, or take another line; it is down"),
    ("fault NAME, fault none", "play a fault of `rehearse --fault list`, or none"),
    ("cut", "pull the cable between board and laptop"),
)


class Stand:
    """How one rig stands; its bench holds the lock.

    Parameters
    ----------
    scene : Scene
        The rig as it is served.

    Attributes
    ----------
    scene : Scene
        The rig as it is now.
    sled : str
        RAISED on its latch, DOWN, HANGS on its line, or FALLEN.
    weights_kg : dict of str to float
        What hangs on the cells besides, by the name of the channel.
    fault : str
        Name of the fault that is played, or "".
    armed : bool
        The board's lamp is lit.
    moving : bool
        The sled was let go, and is not yet at rest.
    article_whole : bool
        The break wire across the article is whole.
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = self._without_fault = scene
        self.sled = RAISED if scene.behaviour.latched else DOWN
        self.weights_kg: dict[str, float] = {}
        self.fault = ""
        self.armed = self.moving = False
        self.article_whole = True
        self._orders: list[str] = []

    # For the rig

    def taken(self) -> list[str]:
        """What the rig is to do at once, since this was asked last."""
        orders, self._orders = self._orders, []
        return orders

    def hook(self) -> None:
        """A hand closes the latch, whatever is on it."""
        self._orders.append(HOOK)

    @property
    def hung_kg(self) -> dict[str, float]:
        """What every cell carries, by its channel."""
        return shares_kg(self.scene) if self.sled == HANGS else dict(self.weights_kg)

    # For hands

    @property
    def words(self) -> dict[str, Callable[[list[str]], None]]:
        """What each word does."""
        return {
            "lower": self._lower,
            "latch": self._latch,
            "hang": self._hang,
            "unhang": self._unhang,
            "hand": self._hand,
            "mass": lambda rest: self._alter(mass_kg=stated(rest, q.MASS)[0]),
            "height": lambda rest: self._alter(height_m=stated(rest, q.HEIGHT)[0]),
            "line": lambda rest: self._alter(stiffness_n_per_m=stated(rest, q.STIFFNESS)[0]),
            "fault": lambda rest: self._play(rest[0]),
            "cut": lambda rest: self._orders.append(CUT),
        }

    def _lower(self, rest: list[str]) -> None:
        self._go_to_the_rig()
        if self.weights_kg:
            raise CampaignError("weights hang on the cell: `unhang` them first")
        self.sled, self.article_whole = DOWN, True

    def _latch(self, rest: list[str]) -> None:
        self._go_to_the_rig()
        if self.weights_kg:
            raise CampaignError("weights hang on the cell: `unhang` them first")
        if self.sled == RAISED:
            raise CampaignError("the sled is raised on its latch already")
        self.sled, self.article_whole = RAISED, True
        self.hook()

    def _hang(self, rest: list[str]) -> None:
        self._go_to_the_rig()
        if not rest:
            if self.weights_kg:
                raise CampaignError("weights hang on the cell: `unhang` them first")
            if not self.article_whole:
                raise CampaignError("the line has parted: `lower` the sled, a whole one is put on")
            self.sled = HANGS
            return
        weight_kg, more = stated(rest, q.WEIGHT)
        name = " ".join(more) or self.scene.first
        cells = [self.scene.first, *(n for n in self.scene.names[1:] if role_of(n) == FORCE)]
        if name not in cells:
            raise CampaignError(f"no cell {name!r} here; {meant(name, cells)}")
        self.require_down("nobody hangs weights under it")
        self.weights_kg.pop(name, None)
        if weight_kg:
            self.weights_kg[name] = weight_kg

    def _unhang(self, rest: list[str]) -> None:
        self._go_to_the_rig()
        if not self.weights_kg and self.sled not in (HANGS, FALLEN):
            raise CampaignError("nothing hangs")
        if self.sled in (HANGS, FALLEN):
            self.sled = DOWN
        self.weights_kg.clear()

    def _hand(self, rest: list[str]) -> None:
        if self.sled != RAISED:
            raise CampaignError(f"the sled is not raised: it is {self.sled_text}")
        if not self.armed:
            raise CampaignError(
                "the lamp is dark, the board is not armed: nobody pulls the pin; the sled would "
                "fall unrecorded"
            )
        self._orders.append(PIN)

    def _alter(self, **changes: float) -> None:
        """Another mass, height or line; friction goes with the weight, the damper stays."""
        self._go_to_the_rig()
        self.require_down("nobody alters a rig under it")
        model = _altered(self._without_fault.model, changes)
        self._show(replace(self._without_fault, model=model), self.fault)

    def _play(self, name: str) -> None:
        if name == "none":
            self._show(self._without_fault, "")
            return
        if name not in FAULTS:
            raise CampaignError(f"no fault {name!r}; {meant(name, FAULTS)}")
        if name in _BY_HAND:
            raise CampaignError(f"{name} is something that hands do: say `{_BY_HAND[name]}`")
        played = FAULTS[name].change(self._without_fault)
        if (played.names, played.readbacks) != (
            self._without_fault.names,
            self._without_fault.readbacks,
        ):
            raise CampaignError(
                f"{name} needs a board with other channels or contacts: start it with "
                f"`tautlog rehearse --serve PORT --fault {name}`"
            )
        if _rig_of(played) == _rig_of(self._without_fault):
            raise CampaignError(
                f"{name} changes nothing on this rig: it is a fault of what the crew believes"
            )
        self._show(self._without_fault, name)

    def _show(self, scene: Scene, fault: str) -> None:
        """Let the rig be a scene with a fault in it."""
        try:
            shown = FAULTS[fault].change(scene) if fault else scene
        except ValueError as problem:
            raise CampaignError(f"this rig cannot be: {problem}") from problem
        self.scene, self._without_fault, self.fault = shown, scene, fault

    # What forbids

    def _go_to_the_rig(self) -> None:
        """Refuse to go to a rig that may let its sled go, or did so just now."""
        if self.armed:
            raise CampaignError("the board is ARMED: nobody goes to the rig. Key off first")
        if self.moving:
            raise CampaignError("the sled still moves: wait until it is at rest")

    def require_down(self, why: str) -> None:
        """Refuse what can be done only while the sled is down."""
        if self.sled != DOWN:
            raise CampaignError(f"the sled is {self.sled_text}: {why}. `lower` it first")

    # In words

    @property
    def sled_text(self) -> str:
        """Where the sled is, in SI."""
        return self.sled_said(SI)

    def sled_said(self, units: Units) -> str:
        """As `sled_text`, in other units."""
        height = units.text(self.scene.model.height_m, "m", "g")
        return {
            RAISED: f"raised on its latch, {height} above a taut line",
            DOWN: "down, off latch and line",
            HANGS: "hanging on its line",
            FALLEN: ("falling, or still moving" if self.moving else "at rest after its fall"),
        }[self.sled]

    @property
    def load_text(self) -> str:
        """What hangs on the cells besides, in SI."""
        return self.load_said(SI)

    def load_said(self, units: Units) -> str:
        """As `load_text`, in other units."""
        first = self.scene.first
        told = [
            units.text(kg, "kg", "g") + (f" on {name}" if name != first else "")
            for name, kg in self.weights_kg.items()
        ]
        return ", ".join(told) or "none"

    def rig_said(self, units: Units = SI) -> str:
        """Mass, height and line, in words."""
        model = self.scene.model
        line = units.text(model.stiffness_n_per_m, "N/m", ".5g")
        mass, height = units.text(model.mass_kg, "kg", "g"), units.text(model.height_m, "m", "g")
        return f"{mass}, {height}, line {line}"


def stated(rest: list[str], quantity: Quantity) -> tuple[float, list[str]]:
    """The number that words begin with, with its unit or in the quantity's own; and the others.

    Raises
    ------
    QuantityError
        If it is none, or out of range.
    """
    with_unit = len(rest) > 1 and rest[1] in units_of(quantity.unit)
    taken = 2 if with_unit else 1
    return quantity.typed(" ".join(rest[:taken])), rest[taken:]


def _altered(model: RigModel, changes: dict[str, float]) -> RigModel:
    mass_kg = changes.get("mass_kg", model.mass_kg)
    stiffness = changes.get("stiffness_n_per_m", model.stiffness_n_per_m)
    # c = 2 zeta sqrt(k m) belongs to the line: another mass does not change it.
    same_damper = math.sqrt(model.mass_kg / mass_kg)
    try:
        return replace(
            model,
            mass_kg=mass_kg,
            height_m=changes.get("height_m", model.height_m),
            stiffness_n_per_m=stiffness,
            damping_ratio=model.damping_ratio
            * (same_damper if stiffness == model.stiffness_n_per_m else 1.0),
            friction_n=model.friction_n * mass_kg / model.mass_kg,
        )
    except ValueError as problem:
        raise CampaignError(f"this rig cannot be: {problem}") from problem


def _rig_of(scene: Scene) -> tuple[object, ...]:
    """What of a scene a fault can change while the rig stands; not what hands do, nor beliefs."""
    behaviour: Behaviour = replace(scene.behaviour, key_on=True, latched=True)
    chains = [side.chain for side in scene.side]
    return scene.model, scene.chain, behaviour, chains, scene.sag_fraction
