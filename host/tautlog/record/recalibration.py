"""Recalibration: the calibration of a marking run, if it is not the record's own."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from tautlog.model.calibration import MEASURED, Calibration
from tautlog.model.channels import Channel, channel_for
from tautlog.model.steps import steps_of
from tautlog.record.numbers import refuse_nonsense
from tautlog.record.parts import real


@dataclass(frozen=True)
class Recalibration:
    """The calibration that a marking run used instead of the record's own.

    Attributes
    ----------
    file, sha256 : str
        Name and hash of the calibration's file; "" for the record's own, chosen again.
    by, reason, utc : str
        Who chose it, why and when.
    calibration : Calibration
        Its measured values over the record's own; the converter's values stay.
    channel : str
        Name of the force channel that it is for; "" for the first.
    """

    file: str
    sha256: str
    by: str
    reason: str
    utc: str
    calibration: Calibration
    channel: str = ""

    def as_json(self) -> dict[str, object]:
        """The form kept in the settings of a marking run."""
        values = asdict(self.calibration)
        of_channel = {"channel": self.channel} if self.channel else {}
        return of_channel | {
            "file": self.file,
            "sha256": self.sha256,
            "by": self.by,
            "reason": self.reason,
            "utc": self.utc,
            "measured": {name: values[name] for name in MEASURED},
        }

    @property
    def text(self) -> str:
        """Which calibration, who chose it and why."""
        used = self.calibration
        which = f"calibration {self.file}" if self.file else "the record's own calibration"
        which += f" of {self.channel}" if self.channel else ""
        return (
            f"{which} ({used.newton_per_volt:.6g} N/V, {used.date or 'undated'}), chosen by "
            f"{self.by}: {self.reason}"
        )


def recalibration_in(
    settings: Mapping[str, object], own: Calibration, channels: tuple[Channel, ...] = ()
) -> Recalibration | None:
    """The calibration in the settings of a marking run; None for the record's own.

    Parameters
    ----------
    settings : mapping
        The settings.
    own : Calibration
        The record's own calibration, of its first channel.
    channels : tuple of Channel
        Its other channels.

    Raises
    ------
    ValueError, KeyError, TypeError
        If the settings are damaged.
    """
    kept = settings.get("calibration")
    if kept is None:
        return None
    if not isinstance(kept, dict) or not isinstance(kept.get("measured"), dict):
        raise ValueError("the calibration in the settings of marks is damaged")
    texts_of = {field.name for field in fields(Calibration) if field.type == "str"}
    there = {name: value for name, value in kept["measured"].items() if name in MEASURED}
    measured: dict[str, Any] = {}
    for name, value in there.items():
        if name in texts_of:
            measured[name] = str(value)
        else:
            unknown = value is None and name == "zero_v"
            measured[name] = None if unknown else real(there, name)
    refuse_nonsense({"/calibration": measured})
    texts = {name: str(kept[name]) for name in ("file", "sha256", "by", "reason", "utc")}
    channel = str(kept.get("channel", ""))
    base = channel_for(channels, channel).calibration if channel else own
    used = replace(base or own, **{"converter": "", **measured})
    steps_of(used.converter, used.converter_bits)  # refuses what is no table
    return Recalibration(**texts, calibration=used, channel=channel)


def too_far_from(calibration: Calibration, day: str) -> bool:
    """Whether a day is outside the validity of a calibration, before or after its date."""
    if calibration.expired_on(day):
        return True
    try:
        made, used = (datetime.date.fromisoformat(utc[:10]) for utc in (calibration.date, day))
    except ValueError:
        return False
    return bool(calibration.good_for_days) and (made - used).days > calibration.good_for_days
