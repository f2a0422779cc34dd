"""Recalibration: what a marking run used instead of the record's own calibration."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from tautlog.model.calibration import MEASURED, Calibration
from tautlog.record.numbers import refuse_nonsense
from tautlog.record.parts import real


@dataclass(frozen=True)
class Recalibration:
    """What a marking run used instead of the record's own calibration.

    Attributes
    ----------
    file, sha256 : str
        Name and hash of the calibration's file; "" for the record's own, taken again.
    by, reason, utc : str
        Who chose it, why and when.
    calibration : Calibration
        What it measured, put over the record's own; the converter stays as it was.
    """

    file: str
    sha256: str
    by: str
    reason: str
    utc: str
    calibration: Calibration

    def told(self) -> dict[str, object]:
        """As it stands in the settings of a marking run."""
        values = asdict(self.calibration)
        return {
            "file": self.file,
            "sha256": self.sha256,
            "by": self.by,
            "reason": self.reason,
            "utc": self.utc,
            "measured": {name: values[name] for name in MEASURED},
        }

    @property
    def text(self) -> str:
        """Which calibration, on whose word and why."""
        one = self.calibration
        which = f"calibration {self.file}" if self.file else "the record's own calibration again"
        return (
            f"{which} ({one.newton_per_volt:.6g} N/V, {one.date or 'no date'}), chosen by "
            f"{self.by}: {self.reason}"
        )


def recalibration_in(settings: Mapping[str, object], own: Calibration) -> Recalibration | None:
    """What the settings of a marking run say of its calibration; None for the record's own.

    Raises
    ------
    ValueError, KeyError, TypeError
        If they are damaged.
    """
    told = settings.get("calibration")
    if told is None:
        return None
    if not isinstance(told, dict) or not isinstance(told.get("measured"), dict):
        raise ValueError("settings of marks whose calibration is none")
    texts_of = {one.name for one in fields(Calibration) if one.type == "str"}
    there = {name: value for name, value in told["measured"].items() if name in MEASURED}
    measured: dict[str, Any] = {}
    for name, value in there.items():
        if name in texts_of:
            measured[name] = str(value)
        else:
            unknown = value is None and name == "zero_v"
            measured[name] = None if unknown else real(there, name)
    refuse_nonsense({"/calibration": measured})
    texts = {name: str(told[name]) for name in ("file", "sha256", "by", "reason", "utc")}
    return Recalibration(**texts, calibration=replace(own, **measured))


def too_far_from(calibration: Calibration, day: str) -> bool:
    """Whether a day lies farther from a calibration, before or after it, than it counts for."""
    if calibration.expired_on(day):
        return True
    try:
        made, used = (datetime.date.fromisoformat(one[:10]) for one in (calibration.date, day))
    except ValueError:
        return False
    return bool(calibration.good_for_days) and (made - used).days > calibration.good_for_days
