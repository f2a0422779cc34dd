"""Channels: the groups of a record that say what the columns beyond the first measure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

import h5py

from tautlog.model.calibration import Calibration
from tautlog.model.channels import KINDS, Channel, Scale, channel_for
from tautlog.model.steps import steps_of
from tautlog.record import layout
from tautlog.record.numbers import require_scale
from tautlog.record.parts import PlaceAttributes, Value, built

PLACE = "/channels/"


def put_channels(file: h5py.File, names: tuple[str, ...], channels: tuple[Channel, ...]) -> None:
    """Write a group for each column beyond the first, as far as anybody described it.

    Parameters
    ----------
    file : h5py.File
        A new record.
    names : tuple of str
        The board's channels.
    channels : tuple of Channel
        What is known of channels; more than the board has, or fewer.
    """
    if len(names) < 2:
        return
    layout.put(file, {"format_version": layout.FORMAT_VERSION})
    for column, name in enumerate(names[1:], start=1):
        channel = channel_for(channels, name)
        values: dict[str, object] = {"name": name, "role": channel.role}
        if channel.scale is not None:
            values |= _as_stored(channel.scale)
        layout.put(file.create_group(f"channels/{column}"), values)


def _as_stored(scale: Scale) -> dict[str, object]:
    """Numbers of a scale as floats, so that no reader meets an integer."""
    whole = ("converter_bits", "good_for_days")
    return {
        name: float(value) if isinstance(value, int) and name not in whole else value
        for name, value in asdict(scale).items()
    }


def channels_in(attributes: PlaceAttributes, names: tuple[str, ...]) -> tuple[Channel, ...]:
    """The channels beyond the first, from a record's attributes.

    Raises
    ------
    ValueError
        If a group is not that of its column.
    """
    found = []
    for place, values in attributes.items():
        if not place.startswith(PLACE):
            continue
        number = place.removeprefix(PLACE)
        if number not in map(str, range(1, len(names))) or values.get("name") != names[int(number)]:
            raise ValueError(f"{place} is not the channel of a column beyond the first")
        found.append(_channel(str(values["name"]), values))
    return tuple(found)


def _channel(name: str, values: Mapping[str, Value]) -> Channel:
    kind = KINDS.get(Channel(name).role)
    scaled = kind is not None and set(values) - {"name", "role"}
    if kind is Calibration and "newton_per_volt" not in values:
        return Channel(name)  # not calibrated, whatever else is known
    scale = built(values, kind) if kind and scaled else None
    if isinstance(scale, Calibration):
        require_scale(f"the channel {name!r}", values)
        steps_of(scale.converter, scale.converter_bits)  # refuses what is no table
    return Channel(name, scale)
