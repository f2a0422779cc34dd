"""Side columns: the channels of a record beyond its force, as columns of an export.

Every channel goes out: a leg with its force, an accelerometer with its reading, the supply in
volts; and a channel without a scale, or a plain voltage, with its volts at the converter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.excitation import supply_v
from tautlog.analysis.witness import reading_m_s2
from tautlog.model.channels import FORCE as FORCE_ROLE
from tautlog.model.channels import Accelerometer, ExcitationMonitor, columns_of
from tautlog.record import Record, legs_of, volts_of

NEWTON, ACCELERATION, VOLT = "N", "m/s2", "V"


@dataclass(frozen=True)
class SideColumn:
    """One channel: its column's name, its unit, what was done, and its values."""

    name: str
    unit: str
    words: str
    values: npt.NDArray[np.float64]


def side_columns(record: Record) -> list[SideColumn]:
    """The channels of a record beyond its force, at its times; none for a single channel."""
    names = record.instrument.channels if record.instrument else ()
    if len(names) < 2:
        return []
    legs = legs_of(record)
    found = []
    for column, name in enumerate(names):
        stem = name.replace(" ", "_")
        leg = legs.get(name)
        if leg is not None:
            words = f"{name}, newtons, as measured, zero not removed"
            found.append(SideColumn(f"{stem}_n", NEWTON, words, leg.force_n))
        elif column or len(columns_of(names, FORCE_ROLE)) > 1:
            found.append(_other(record, column, name, stem))
    return found


def _other(record: Record, column: int, name: str, stem: str) -> SideColumn:
    volts, scale = volts_of(record, column), record.channel(column).scale
    if isinstance(scale, Accelerometer) and scale.volt_per_m_s2:
        words = f"{name}, m/s2, a + g upwards: 0 in free fall, 9.81 at rest"
        return SideColumn(f"{stem}_m_s2", ACCELERATION, words, reading_m_s2(volts, scale))
    if isinstance(scale, ExcitationMonitor) and scale.divider_ratio:
        return SideColumn(f"{stem}_v", VOLT, f"{name}, volts of the supply", supply_v(volts, scale))
    words = f"{name}, volts at the converter, not scaled"
    return SideColumn(f"{stem}_v", VOLT, words, volts)
