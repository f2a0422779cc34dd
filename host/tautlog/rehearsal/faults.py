"""Faults that a rehearsal can simulate, one entry each.

To add a fault, write a function from scene to scene and list it in `_ALL`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from tautlog.mechanics.legs import LeggedModel
from tautlog.mechanics.rig_model import Slip
from tautlog.model.published_steps import QUIET_STEPS
from tautlog.rehearsal.scene import Scene, with_readbacks
from tautlog.rehearsal.side_channels import with_acceleration, with_excitation, with_legs

NO_ANSWER = 1e12  # newton per volt of a chain that does not respond to force


@dataclass(frozen=True)
class Fault:
    """One fault: its name, its description and its change to a scene."""

    name: str
    text: str
    change: Callable[[Scene], Scene]


def _model(**changes: Any) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, model=replace(scene.model, **changes))


def _behaviour(**changes: Any) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, behaviour=replace(scene.behaviour, **changes))


def _chain(**changes: Any) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, chain=replace(scene.chain, **changes))


def _target_n(scene: Scene) -> float:
    return scene.setup.target_n or 0.0


def _parts(scene: Scene) -> Scene:
    return _model(break_force_n=0.7 * _target_n(scene))(scene)


def _mount_lets_go(scene: Scene) -> Scene:
    return _behaviour(mount_lets_go=True)(_parts(scene))


def _slips(scene: Scene) -> Scene:
    return _model(slip=Slip(force_n=0.6 * _target_n(scene), length_m=0.08))(scene)


def _clips(scene: Scene) -> Scene:
    """The amplifier's rail is below the peak, and the crew does not know it."""
    rail_v = scene.chain.volts(0.75 * _target_n(scene))
    return _chain(rail_high_v=rail_v)(scene)


def _gain(scene: Scene) -> Scene:
    """The jumper gives a tenth of the calibrated gain, also for the shunt."""
    chain = _chain(newton_per_volt=10 * scene.chain.newton_per_volt)
    return _behaviour(shunt_v=0.1 * scene.behaviour.shunt_v)(chain(scene))


def _reversed(scene: Scene) -> Scene:
    """A pull lowers the output; zero and shunt stay as they were."""
    return _chain(newton_per_volt=-scene.chain.newton_per_volt)(scene)


def _dead(level_v: float, noise_v: float = 0.0) -> Callable[[Scene], Scene]:
    """The amplifier stays at one voltage, whatever the force."""

    def change(scene: Scene) -> Scene:
        chain = _chain(
            zero_v=level_v,
            newton_per_volt=NO_ANSWER,
            noise_v=noise_v,
            converter_noise_lsb=QUIET_STEPS,
        )
        return _behaviour(shunt_v=0.0)(chain(scene))

    return change


def _stop(scene: Scene) -> Scene:
    """The sled meets the catch before the line has stretched fully."""
    stretch_m = 0.6 * _target_n(scene) / scene.model.stiffness_n_per_m
    return _model(catch_stretch_m=stretch_m)(scene)


def _jams(scene: Scene) -> Scene:
    return _model(catch_stretch_m=-0.5 * scene.model.height_m)(scene)


def _hum(scene: Scene) -> Scene:
    return _chain(mains_v=0.03 * _target_n(scene) / abs(scene.chain.newton_per_volt))(scene)


def _noisy(scene: Scene) -> Scene:
    """White noise of 5 % of the target, such as a broken screen lets in."""
    return _chain(noise_v=0.05 * _target_n(scene) / abs(scene.chain.newton_per_volt))(scene)


def _steps_unknown(scene: Scene) -> Scene:
    return replace(scene, calibration=replace(scene.calibration, converter=""))


def _source_weak(scene: Scene) -> Scene:
    """A sixth of the voltage is lost, zero, noise and force alike."""
    return _chain(source_ohm=20e3)(scene)


def _leg_longer(scene: Scene) -> Scene:
    """The right leg of a bridle comes taut 2 ms after the left one."""
    return with_legs(scene, longer_m=0.01)


def _leg_lets_go(scene: Scene) -> Scene:
    """The left leg of a bridle lets go on the way up, and the right one takes the rest."""
    scene = with_legs(scene)
    assert isinstance(scene.model, LeggedModel)
    left, *others = scene.model.legs
    weak = replace(left, break_force_n=0.35 * _target_n(scene))
    return replace(scene, model=replace(scene.model, legs=(weak, *others)))


def _leg_uncalibrated(scene: Scene) -> Scene:
    scene = with_legs(scene)
    right, *others = scene.side
    return replace(scene, side=(replace(right, believed=None), *others))


def _sags(scene: Scene) -> Scene:
    """The supply gives way under the pull, and every cell on it reads less."""
    return replace(with_excitation(scene), sag_fraction=0.04)


def _read_back(**changes: Any) -> Callable[[Scene], Scene]:
    return lambda scene: _behaviour(**changes)(with_readbacks(scene))


def _accelerometer_gain(scene: Scene) -> Scene:
    """The accelerometer gives a tenth more than its data sheet says."""
    scene = with_acceleration(scene)
    *others, last = scene.side
    chain = replace(last.chain, newton_per_volt=last.chain.newton_per_volt / 1.1)
    return replace(scene, side=(*others, replace(last, chain=chain)))


_ALL = (
    Fault("article-parts", "the article parts at 70 % of the target", _parts),
    Fault("mount-lets-go", "the mount's screws pull out at 70 % of the target", _mount_lets_go),
    Fault("line-slips", "the line slips 80 mm through a clamp at 60 % of the target", _slips),
    Fault("amplifier-clips", "the amplifier's rail is at 75 % of the target", _clips),
    Fault("gain-ten-times", "the gain is a tenth of the calibrated one", _gain),
    Fault("cell-reversed", "the cell is wired the wrong way round", _reversed),
    Fault("parked-low", "the amplifier is stuck at its lower limit, 0.040 V", _dead(0.0, 1.5e-3)),
    Fault("parked-high", "the amplifier is stuck at its upper limit, 3.21 V", _dead(3.3, 1.5e-3)),
    Fault("bridge-open", "the bridge is open: 1.1 V and only the converter's noise", _dead(1.1)),
    Fault("shunt-dead", "the shunt resistor has no effect", _behaviour(shunt_v=0.0)),
    Fault("never-taut", "the sled meets the catch before the line", _model(catch_stretch_m=-0.05)),
    Fault("sled-jams", "the sled jams half way down", _jams),
    Fault("sled-hesitates", "the sled leaves 30 ms after the switch", _behaviour(hesitates_s=0.03)),
    Fault("cell-cable-rips", "the cell's cable rips at the peak", _behaviour(cell_cable_rips=True)),
    Fault("latch-stuck", "the drive is pulsed but the latch holds", _behaviour(latch_stuck=True)),
    Fault("switch-stuck", "the release switch never opens", _behaviour(switch_stuck=True)),
    Fault("late-latch", "the latch lets go 30 ms late", _behaviour(latch_delay_s=0.042)),
    Fault("long-bounce", "the release switch bounces for 15 ms", _behaviour(bounce_s=0.015)),
    Fault("key-off", "the arm key is off", _behaviour(key_on=False)),
    Fault("not-latched", "the release switch is open", _behaviour(latched=False)),
    Fault(
        "steps-unknown",
        "the calibration was made without knowing the converter's steps",
        _steps_unknown,
    ),
    Fault(
        "other-chip",
        "the calibration is corrected for one chip, and the board is the other",
        lambda scene: replace(scene, chip="RP2040" if scene.chip == "RP2350" else "RP2350"),
    ),
    Fault("source-weak", "20 kohm before the converter, whose input loads it", _source_weak),
    Fault("noisy", "noise of 5 % of the target on the signal", _noisy),
    Fault("mains-hum", "hum of 3 % of the target on the signal", _hum),
    Fault("stop-touched", "the catch takes part of the energy", _stop),
    Fault("glitch", "one sample jumps during the fall", _behaviour(glitch_after_s=0.2)),
    Fault(
        "cable-pulled",
        "the cable is pulled 0.3 s after the release",
        _behaviour(cut_link_after_s=0.3),
    ),
    Fault("gate-open", "the zone gate is open", _read_back(open_readbacks=("gate",))),
    Fault("pin-in", "the pin is still in", _read_back(open_readbacks=("pin",))),
    Fault(
        "gate-opens",
        "somebody opens the zone gate as soon as the board is armed",
        _read_back(gate_opens_armed_s=0.0),
    ),
    Fault(
        "gate-opens-late",
        "somebody opens the zone gate 0.3 s after the release",
        _read_back(gate_opens_released_s=0.3),
    ),
    Fault("leg-longer", "two legs, the right one 10 mm longer", _leg_longer),
    Fault("leg-lets-go", "two legs, the left one lets go at 35 % of the target", _leg_lets_go),
    Fault("leg-uncalibrated", "two legs, the right one not calibrated", _leg_uncalibrated),
    Fault("excitation-sags", "the supply of the bridge sags by 4 % under the pull", _sags),
    Fault(
        "accelerometer-gain",
        "the sled's accelerometer gives a tenth more than stated",
        _accelerometer_gain,
    ),
)

FAULTS = {fault.name: fault for fault in _ALL}
