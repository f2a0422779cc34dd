"""Channel readiness: whether the channels beyond the first can be trusted with a drop.

A leg is as much the force as the first channel, and is refused for the same reasons. An
accelerometer and a monitored supply are witnesses: what is wrong with them is a doubt.
"""

from __future__ import annotations

from tautlog.board.at_rest import AtRest
from tautlog.board.finding import ReadinessFinding
from tautlog.board.health import Health
from tautlog.model.channels import (
    ACCELERATION,
    EXCITATION,
    FORCE,
    Accelerometer,
    Channel,
    ExcitationMonitor,
    channel_for,
    columns_of,
    role_of,
)
from tautlog.model.display_units import SI, Units
from tautlog.model.shown import shown
from tautlog.model.stream import Instrument
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

# Of g: an accelerometer on a sled that hangs still; tilted by 11 degrees it reads 2 % less (closed
# form), its zero is stated to some percent of g at best. Own choice.
REST_OFF = 0.2


def channel_findings(
    board: Instrument,
    health: Health,
    channels: tuple[Channel, ...],
    upper_n: float | None = None,
    units: Units = SI,
) -> list[ReadinessFinding]:
    """All findings on the channels beyond the first; none for a board with one.

    Parameters
    ----------
    board : Instrument
        The board, from its greeting.
    health : Health
        The present readings.
    channels : tuple of Channel
        What is known of the channels, the first force channel first.
    upper_n : float or None
        Largest force that the legs must still measure together.
    units : Units
        Units in which it is said.
    """
    if len(board.channels) < 2 or not health.channels_v:
        return []
    found = _first(board, channels) + _rooms(board, health, channels, upper_n, units)
    for column, name in enumerate(board.channels[1:], start=1):
        channel = channel_for(channels, name)
        level_v, noise_v = health.channels_v[column], health.channels_noise_v[column]
        role = role_of(name)
        if role == FORCE:
            found += _leg(channel, level_v, noise_v, board.reduction)
        elif role == ACCELERATION:
            found += _acceleration(channel, level_v, latched=health.latched)
        elif role == EXCITATION:
            found += _excitation(channel, level_v)
    there = {(role_of(name), name) for name in board.channels}
    roles = {role for role, _ in there}
    for channel in channels[1:]:
        missing = (channel.role, channel.name) not in there
        if missing and (channel.role == FORCE or channel.role not in roles):
            found.append(_missing(channel))
    return found


def _first(board: Instrument, channels: tuple[Channel, ...]) -> list[ReadinessFinding]:
    """The first channel must be the one that [cell] and [calibration] describe."""
    several = sum(role_of(name) == FORCE for name in board.channels) > 1
    if not channels or not several or channels[0].name == board.channels[0]:
        return []
    return [
        ReadinessFinding(
            "first-channel",
            True,
            f"the board's first channel is {board.channels[0]!r}",
            f"[cell] in campaign.toml describes {channels[0].name!r}",
            "correct channel under [cell], or CHANNELS in the board's config.py",
        )
    ]


def _rooms(
    board: Instrument,
    health: Health,
    channels: tuple[Channel, ...],
    upper_n: float | None,
    units: Units,
) -> list[ReadinessFinding]:
    """Room of the legs: together for the whole force, and each alone if the others are slack."""
    columns = columns_of(board.channels, FORCE)
    if len(columns) < 2 or upper_n is None:
        return []
    rooms = {board.channels[0]: health.span_n}
    for column in columns[1:]:
        calibration = channel_for(channels, board.channels[column]).calibration
        if calibration is None:
            return []  # said already, and the sum is not known
        up = calibration.newton_per_volt > 0
        far_v = calibration.rail_high_v if up else calibration.rail_low_v
        room_v = abs(far_v - health.channels_v[column])
        rooms[board.channels[column]] = room_v * abs(calibration.newton_per_volt)
    together_n, (name, least_n) = sum(rooms.values()), min(rooms.items(), key=lambda one: one[1])
    together, least = (shown(room_n, "N", (upper_n,), units) for room_n in (together_n, least_n))
    if together_n < upper_n:
        wanted = f"this drop may reach {together.level()}"
        seen = f"{together.text} of tension fit below the far limits of all legs together"
        return [ReadinessFinding("no-room", True, seen, wanted, "lower the gain, or the target")]
    if least_n < upper_n:
        wanted = f"this drop may reach {least.level()}"
        seen = f"{least.text} of tension fit below the far limit of {name!r}"
        mend = "it is cut off if it must carry more than its share: lower its gain to be sure"
        return [ReadinessFinding("leg-room", False, seen, wanted, mend)]
    return []


def _missing(channel: Channel) -> ReadinessFinding:
    return ReadinessFinding(
        "channel-missing",
        channel.role == FORCE,
        f"the board has no channel {channel.name!r}",
        "campaign.toml states one",
        "correct CHANNELS in the board's config.py, or campaign.toml",
    )


def _leg(
    channel: Channel, level_v: float, noise_v: float, reduction: int
) -> list[ReadinessFinding]:
    calibration, name = channel.calibration, channel.name
    if calibration is None:
        return [
            ReadinessFinding(
                "leg-uncalibrated",
                False,
                f"{name!r} is not calibrated",
                "without it the sum of the legs is not known",
                "calibrate it with `tautlog calibrate --channel`",
            )
        ]
    rest = AtRest(name, calibration, reduction, level_v, noise_v, calibration.zero_v or None)
    found = rest.level()
    at_rail = any(finding.code == "leg-at-rail" for finding in found)
    # At a limit, noise tells nothing new.
    return found if at_rail else rest.quiet() + found


def _unscaled(channel: Channel, section: str) -> ReadinessFinding:
    return ReadinessFinding(
        "channel-unscaled",
        False,
        f"{channel.name!r} has no scale",
        "its counts are kept and nothing is judged by it",
        f"state it under [{section}] in campaign.toml",
    )


def _acceleration(channel: Channel, level_v: float, *, latched: bool) -> list[ReadinessFinding]:
    """On its latch the sled is at rest, and the accelerometer reads 1 g."""
    scale = channel.scale
    if not isinstance(scale, Accelerometer) or not scale.volt_per_m_s2:
        return [_unscaled(channel, "accelerometer")]
    if scale.zero_v is None or not latched:
        return []
    seen = (level_v - scale.zero_v) / scale.volt_per_m_s2
    if abs(seen - G) <= REST_OFF * G:
        return []
    read = shown(seen, "m/s2", (G * (1.0 - REST_OFF), G * (1.0 + REST_OFF)), least=2)
    return [
        ReadinessFinding(
            "accelerometer-off",
            False,
            f"the accelerometer reads {read.text} at rest",
            f"expected {read.levels[0]} to {read.level(1)}, upwards",
            "check its direction, zero_v and volt_per_m_s2",
        )
    ]


def _excitation(channel: Channel, level_v: float) -> list[ReadinessFinding]:
    scale = channel.scale
    if not isinstance(scale, ExcitationMonitor) or not scale.divider_ratio:
        return [_unscaled(channel, "excitation")]
    if not scale.expected_v:
        return []
    supply_v = level_v * scale.divider_ratio
    if abs(supply_v / scale.expected_v - 1.0) <= scale.tolerance_fraction:
        return []
    band_v = [scale.expected_v * (1.0 + way * scale.tolerance_fraction) for way in (-1.0, 1.0)]
    supply = shown(supply_v, "V", band_v, least=3)
    return [
        ReadinessFinding(
            "excitation-off",
            False,
            f"the supply of the bridges is {supply.text}",
            f"expected {supply.levels[0]} to {supply.level(1)}",
            "check supply and divider: forces are as wrong unless the reference follows it",
        )
    ]
