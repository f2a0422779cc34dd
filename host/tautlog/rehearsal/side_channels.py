"""Side channels: a scene with legs, a sled accelerometer, or a monitored supply.

Accelerometer and divider are examples as they are usual: +/- 100 g about mid-supply with 500 Hz,
5 V through a divider of two.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

from tautlog.mechanics.first_peak import model_for_peak
from tautlog.mechanics.legs import LeggedModel, LegModel
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.channels import (
    ACCELERATION,
    EXCITATION,
    MOST_CHANNELS,
    Accelerometer,
    ExcitationMonitor,
    Scale,
)
from tautlog.model.window import Sampling
from tautlog.rehearsal.electronics import Chain
from tautlog.rehearsal.scene import MID_BAND, Scene, SideChannel

LEFT, RIGHT = "force left", "force right"
SUPPLY_V, DIVIDER = 5.0, 2.0
G_RANGE_M_S2 = 980.665
VOLT_PER_M_S2 = 1.4 / G_RANGE_M_S2


def with_legs(scene: Scene, share: float = 0.5, longer_m: float = 0.0) -> Scene:
    """A bridle of two legs, each on a cell of its own.

    Parameters
    ----------
    share : float
        Part of the stiffness that the left leg has.
    longer_m : float
        How much longer the right leg is.
    """
    if scene.first == LEFT:
        return scene
    target_n = scene.setup.target_n or 0.0
    known = {part.name: getattr(scene.model, part.name) for part in fields(RigModel)}
    legs = (LegModel(LEFT, share), LegModel(RIGHT, 1.0 - share, longer_m))
    model = model_for_peak(LeggedModel(**known, legs=legs), MID_BAND * target_n)
    right = SideChannel(RIGHT, scene.chain, scene.calibration)
    return replace(scene, model=model, first=LEFT, side=(right, *scene.side))


def with_acceleration(scene: Scene) -> Scene:
    """An accelerometer on the sled."""
    believed = Accelerometer(
        volt_per_m_s2=VOLT_PER_M_S2,
        zero_v=1.65,
        range_m_s2=G_RANGE_M_S2,
        expanded_u_fraction=0.02,
        bandwidth_hz=500.0,
    )
    chain = Chain(newton_per_volt=1.0 / VOLT_PER_M_S2, zero_v=1.65, bandwidth_hz=500.0)
    return _with(scene, ACCELERATION, chain, believed)


def with_excitation(scene: Scene) -> Scene:
    """The supply of the bridges on a divider."""
    believed = ExcitationMonitor(divider_ratio=DIVIDER, expected_v=SUPPLY_V)
    return _with(scene, EXCITATION, Chain(newton_per_volt=DIVIDER, zero_v=0.0), believed)


def _with(scene: Scene, name: str, chain: Chain, believed: Scale) -> Scene:
    if name in scene.names:
        return scene
    if len(scene.names) == MOST_CHANNELS:
        raise ValueError(f"{name}: the converter has {MOST_CHANNELS} inputs, {scene.names} use all")
    chain = replace(chain, steps=scene.chain.steps)  # one converter takes all in turn
    return replace(scene, side=(*scene.side, SideChannel(name, chain, believed)))


KINDS: dict[str, Callable[[Scene], Scene]] = {
    "legs": with_legs,
    "acceleration": with_acceleration,
    "excitation": with_excitation,
}


def board_changes(scene: Scene) -> dict[str, int | float | str]:
    """Lines of the board's config.py for channels and readbacks of a scene, if not as delivered."""
    names = scene.names
    changes: dict[str, int | float | str] = {}
    if scene.readbacks:
        changes["READBACKS"] = "|".join(f"{one.name}:{one.gpio}" for one in scene.readbacks)
    if len(names) == 1:
        return changes
    sampling = Sampling(channels=len(names))
    return changes | {
        "CHANNELS": "|".join(names),
        "PIN_CONVERTER": "|".join(str(26 + column) for column in range(len(names))),
        "SAMPLES_PER_BLOCK": sampling.samples_per_block,
    }
