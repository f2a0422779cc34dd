"""Channels: what each converter input of a board measures, by its name.

The first word of a name in the board's CHANNELS is its role::

    force, force left, ...       a cell of its own; the first channel is always one
    acceleration, ...            an accelerometer on the sled
    excitation, ...              the supply of the bridges, through a divider
    any other name               a plain voltage: kept and shown, never judged

Several force channels are the legs of one load path. The force of a drop is their sum. Nothing
is guessed: a channel without a scale stays counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.key import stated

FORCE, ACCELERATION, EXCITATION, VOLTAGE = "force", "acceleration", "excitation", "voltage"
ROLES = (FORCE, ACCELERATION, EXCITATION)
YES, NO = "yes", "no"
MOST_CHANNELS = 3  # inputs of the board's converter


def role_of(name: str) -> str:
    """Role of a channel: FORCE, ACCELERATION, EXCITATION, or VOLTAGE for any other name."""
    first = name.split(" ")[0]
    return first if first in ROLES else VOLTAGE


def columns_of(names: tuple[str, ...], role: str) -> tuple[int, ...]:
    """Columns of the channels with a role, in their order.

    The first column of a record is a force, whatever its name: older records may call it otherwise.
    """
    return tuple(
        column
        for column, name in enumerate(names)
        if (FORCE if column == 0 else role_of(name)) == role
    )


@dataclass(frozen=True)
class Accelerometer:
    """The accelerometer on the sled, along the rails, positive upwards.

    It shows what acts on its mass besides gravity: 0 in free fall, 1 g at rest on rails that
    stand upright.

    Attributes
    ----------
    volt_per_m_s2 : float or None
        Sensitivity at the converter; negative if mounted upside down. None: not stated.
    zero_v : float or None
        Output in free fall, 0 g; None if not stated: it then comes from the fall alone.
    range_m_s2 : float
        Largest acceleration that it shows; 0 if unknown.
    expanded_u_fraction : float
        Expanded relative uncertainty (k = 2) of its sensitivity.
    bandwidth_hz : float
        Bandwidth with its filter, -3 dB; 0 if unknown.
    serial : str
        Serial number.
    """

    volt_per_m_s2: float | None = field(
        default=None,
        metadata=stated(
            "Volts at the converter for 1 m/s2; negative if mounted upside down.",
            0.0013,
            q.ACCELERATION_SLOPE,
        ),
    )
    zero_v: float | None = field(
        default=None, metadata=stated("Output at 0 g, which is free fall.", 1.65, q.VOLT)
    )
    range_m_s2: float = field(
        default=0.0,
        metadata=stated("Largest acceleration that it shows. 0: unknown.", 980.0, q.ACCELERATION),
    )
    expanded_u_fraction: float = field(
        default=0.05,
        metadata=stated(
            "Expanded relative uncertainty (k = 2) of its sensitivity.", quantity=q.SHARE
        ),
    )
    bandwidth_hz: float = field(
        default=0.0,
        metadata=stated("Bandwidth with its filter, -3 dB. 0: unknown.", 500.0, q.BANDWIDTH),
    )
    serial: str = field(default="", metadata=stated("Serial number."))


@dataclass(frozen=True)
class ExcitationMonitor:
    """The supply of the bridges, as a channel sees it through a divider.

    Attributes
    ----------
    divider_ratio : float or None
        Volts of the supply for one volt at the converter; None if not stated.
    expected_v : float or None
        Supply at the calibration; None if not stated.
    tolerance_fraction : float
        Deviation, drift or sag beyond this share of it is a doubt.
    ratiometric : str
        "yes": forces are multiplied by expected over measured supply. Only for a converter whose
        reference does not follow the supply.
    """

    divider_ratio: float | None = field(
        default=None,
        metadata=stated("Volts of the supply for one volt at the converter.", 2.0, q.DIVIDER),
    )
    expected_v: float | None = field(
        default=None, metadata=stated("Supply at the calibration.", 5.0, q.EXCITATION)
    )
    tolerance_fraction: float = field(
        default=0.01,
        metadata=stated("Deviation, drift or sag beyond this share is a doubt.", quantity=q.SHARE),
    )
    ratiometric: str = field(
        default=NO,
        metadata=stated(
            "yes: forces are corrected by expected over measured supply; only if the converter's "
            "reference does not follow the supply.",
            choices=(NO, YES),
        ),
    )


Scale: TypeAlias = Calibration | Accelerometer | ExcitationMonitor
KINDS: dict[str, type[Scale]] = {
    FORCE: Calibration,
    ACCELERATION: Accelerometer,
    EXCITATION: ExcitationMonitor,
}


@dataclass(frozen=True)
class Channel:
    """A channel beyond the first, and how its volts become what it measures.

    Attributes
    ----------
    name : str
        Its name in the board's CHANNELS.
    scale : Calibration, Accelerometer, ExcitationMonitor or None
        By its role; None if nobody stated one.
    """

    name: str
    scale: Scale | None = None

    def __post_init__(self) -> None:
        wanted = KINDS.get(self.role)
        if self.scale is not None and type(self.scale) is not wanted:
            raise ValueError(
                f"`scale` of {self.name!r} must be {wanted and wanted.__name__}, was "
                f"{type(self.scale).__name__}"
            )

    @property
    def role(self) -> str:
        """Its role."""
        return role_of(self.name)

    @property
    def calibration(self) -> Calibration | None:
        """Its calibration, if it is a calibrated force channel."""
        return self.scale if isinstance(self.scale, Calibration) else None

    @property
    def scaled(self) -> bool:
        """Whether its volts can be turned into what it measures."""
        scale = self.scale
        if isinstance(scale, Accelerometer):
            return scale.volt_per_m_s2 is not None
        return (
            scale.divider_ratio is not None
            if isinstance(scale, ExcitationMonitor)
            else (scale is not None)
        )


def channel_for(channels: tuple[Channel, ...], name: str) -> Channel:
    """The channel with that name; one without a scale if nobody stated it.

    A rig has one accelerometer and one supply, whatever the board calls their channels.
    """
    role = role_of(name)
    for one in channels:
        if one.name == name or (role in (ACCELERATION, EXCITATION) and one.role == role):
            return Channel(name, one.scale)
    return Channel(name)
