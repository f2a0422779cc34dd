"""Scene: everything about one rehearsed drop, before it happens.

The default is an invented scenario: a 9 kg sled, 1.20 m and 1.8 kN for the
recovery bridle of a survey kite.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tautlog.board.shunt import Shunt
from tautlog.mechanics.first_peak import model_for_peak
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, Channel, Scale
from tautlog.model.limits import HEADROOM
from tautlog.model.readbacks import Readback
from tautlog.model.steps import EVEN
from tautlog.model.trace import DropSetup
from tautlog.rehearsal.converters import as_found, some_converter
from tautlog.rehearsal.electronics import Chain, chain_for_range

DEFAULT_MASS_KG = 9.0
DEFAULT_HEIGHT_M = 1.2
DEFAULT_TARGET_N = 1800.0
CHIP = "RP2040"
# A converter of 16 bits instead of the chip's own: what the board's config.py says of it.
SIXTEEN_BITS = {"CONVERTER_BITS": 16, "CONVERSION_RATE_HZ": 250_000, "LEAST_SPAN": 8}
SIXTEEN_BITS_NOISE = 0.6  # steps, rms; transition noise by data sheets of such parts
MID_BAND = 1.05  # of the target: the middle of -0/+10 %
SHUNT = Shunt(0.5, "as the rig is built")


@dataclass(frozen=True)
class Behaviour:
    """The behaviour of switches, wires, key, latch and cable.

    Attributes
    ----------
    key_on, latched : bool
        State before arming.
    latch_delay_s : float
        Time for which the drive must be high until the latch lets go.
    latch_stuck : bool
        The latch never lets go.
    switch_stuck : bool
        The release switch stays closed when the sled is let go.
    hesitates_s : float
        The sled leaves so long after the release switch opened.
    bounce_s : float
        Time over which the release switch bounces.
    article_wire_opens : bool
        The break wire across the article parts with the load.
    mount_lets_go : bool
        What parts is the mount, with the break wire across it.
    cell_cable_rips : bool
        The cell's cable is torn off at the peak.
    cut_link_after_s : float or None
        The cable is pulled this long after the release.
    glitch_after_s : float or None
        One sample jumps this long after the release.
    open_readbacks : tuple of str
        Contacts of the release chain that are open from the start.
    gate_opens_armed_s, gate_opens_released_s : float or None
        The gate opens so long after the lamp came on, or after the release.
    shunt_v : float
        Step of the shunt resistor at the converter.
    """

    key_on: bool = True
    latched: bool = True
    latch_delay_s: float = 0.012
    latch_stuck: bool = False
    switch_stuck: bool = False
    hesitates_s: float = 0.0
    bounce_s: float = 0.008
    article_wire_opens: bool = True
    mount_lets_go: bool = False
    cell_cable_rips: bool = False
    cut_link_after_s: float | None = None
    glitch_after_s: float | None = None
    open_readbacks: tuple[str, ...] = ()
    gate_opens_armed_s: float | None = None
    gate_opens_released_s: float | None = None
    shunt_v: float = 0.5


@dataclass(frozen=True)
class SideChannel:
    """A channel beyond the first.

    Attributes
    ----------
    name : str
        As in the board's CHANNELS.
    chain : Chain
        Its electronics; `newton_per_volt` is what it measures, per volt.
    believed : Calibration, Accelerometer, ExcitationMonitor or None
        Its scale as the crew believes it to be.
    """

    name: str
    chain: Chain
    believed: Scale | None


@dataclass(frozen=True)
class Scene:
    """Rig, electronics and behaviour of one drop, and what the crew believes.

    Attributes
    ----------
    shunt : Shunt
        The shunt resistor that the crew believes to be fitted.
    first : str
        Name of the first channel, whose chain and calibration stand above.
    side : tuple of SideChannel
        The channels beyond the first; see `side_channels`.
    sag_fraction : float
        By how much the supply of the bridges falls under the target force.
    readbacks : tuple of Readback
        Contacts of the release chain that the board sees; none as delivered.
    chip : str
        Chip that the board names; the chain's steps are what they are.
    """

    model: RigModel
    chain: Chain
    behaviour: Behaviour
    calibration: Calibration
    setup: DropSetup
    shunt: Shunt = SHUNT
    first: str = FORCE
    side: tuple[SideChannel, ...] = ()
    sag_fraction: float = 0.0
    readbacks: tuple[Readback, ...] = ()
    chip: str = CHIP

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all channels, as in the board's CHANNELS."""
        return (self.first, *(channel.name for channel in self.side))

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels as the crew believes them to be."""
        believed = (Channel(channel.name, channel.believed) for channel in self.side)
        return (Channel(self.first, self.calibration), *believed)


def default_scene(
    mass_kg: float = DEFAULT_MASS_KG,
    height_m: float = DEFAULT_HEIGHT_M,
    target_n: float = DEFAULT_TARGET_N,
    chip: str = CHIP,
    reserve: float = 1.0,
) -> Scene:
    """The scene of a crew that did everything right and aims at mid-band, with a board of a chip.

    `reserve` is the range of its chain over 1.5 x target, which a checklist asks for.

    Raises
    ------
    ValueError
        If no line gives that peak with that mass and height.
    """
    rough = RigModel(
        mass_kg=mass_kg,
        height_m=height_m,
        stiffness_n_per_m=1.0,
        hardening_per_m2=4.0,
        damping_ratio=0.12,
        uptake_m=0.003,
        friction_n=0.04 * mass_kg * 9.80665,
    )
    model = model_for_peak(rough, MID_BAND * target_n)
    steps = some_converter(chip, 0)
    range_n = HEADROOM * target_n * reserve
    chain = replace(chain_for_range(range_n), steps=steps)
    low_v, high_v = chain.usable_v
    calibration = Calibration(
        newton_per_volt=chain.newton_per_volt,
        zero_v=chain.zero_v,
        expanded_u_fraction=0.025,
        rail_low_v=low_v,
        rail_high_v=high_v,
        range_n=range_n,
        note="rehearsal: exact by construction, the uncertainty is an example",
        converter=as_found(steps, 0).text,
    )
    setup = DropSetup(
        mass_kg=mass_kg,
        height_m=height_m,
        target_n=target_n,
        article="bridle-1",
        line="line-A",
        note="rehearsed drop, no hardware",
    )
    return Scene(model, chain, Behaviour(), calibration, setup, chip=chip)


def with_readbacks(scene: Scene) -> Scene:
    """The scene with all contacts read back that the pins suffice for, all closed."""
    fitted = (("stop", 2), ("gate", 3), ("pin", 4), ("supply", 5))
    return replace(scene, readbacks=tuple(Readback(name, gpio) for name, gpio in fitted))


def with_sixteen_bits(scene: Scene) -> Scene:
    """The scene with a converter of 16 bits, for a board with the config SIXTEEN_BITS."""
    return replace(
        scene,
        chain=replace(
            scene.chain, converter_bits=16, converter_noise_lsb=SIXTEEN_BITS_NOISE, steps=None
        ),
        calibration=replace(scene.calibration, converter_bits=16, converter=EVEN),
    )
