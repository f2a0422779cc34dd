"""Beside: what the other channels of a record say of a drop: legs, accelerometer, supply."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

from tautlog.analysis.excitation import tell_excitation
from tautlog.analysis.legs import tell_legs
from tautlog.analysis.witness import tell_witness
from tautlog.model.channels import (
    ACCELERATION,
    EXCITATION,
    Accelerometer,
    ExcitationMonitor,
    columns_of,
)
from tautlog.model.legs import SUM, Leg, Legs
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.witness import Excitation, Witness
from tautlog.record import Record, legs_of, supply_factor, volts_of


@dataclass(frozen=True)
class Beside:
    """What the channels beside the first say.

    Attributes
    ----------
    channels : tuple of str
        Names of all channels; empty for a record of one channel.
    legs : Legs or None
        The legs, if there are several force channels.
    witness : Witness or None
        The accelerometer against the force, if there is one.
    excitation : Excitation or None
        The supply of the bridges, if a channel shows it.
    """

    channels: tuple[str, ...] = ()
    legs: Legs | None = None
    witness: Witness | None = None
    excitation: Excitation | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All that was found."""
        there = (self.legs, self.witness, self.excitation)
        return tuple(finding for told in there if told is not None for finding in told.findings)

    def loaded(self, marks: Marks) -> Marks:
        """The marks that are held against target and limit: the sum's, or those of one leg.

        A leg that is not there, or not calibrated, has reached a load that nobody knows.
        """
        if self.legs is None or self.legs.judged_on == SUM:
            return marks
        leg = self.legs.named(self.legs.judged_on)
        if leg is None or leg.marks is None:
            return Marks(marks.sample_rate_hz, 0, gap_in_contact=True)
        return leg.marks


def beside(record: Record, marks: Marks, trace: Trace, setup: DropSetup, zero: str) -> Beside:
    """Read and compare the channels beside the first.

    Parameters
    ----------
    record : Record
        The record.
    marks, trace : Marks, Trace
        Of the force: of the sum of all legs.
    setup : DropSetup
        The drop.
    zero : str
        As for `marking.mark`.
    """
    names = record.instrument.channels if record.instrument else ()
    if len(names) < 2:
        return Beside()
    legs = legs_of(record)
    return Beside(
        names,
        legs=tell_legs(marks, legs, setup, cfc=marks.cfc, zero=zero) if legs else None,
        witness=_witness(record, names, marks, trace, setup),
        excitation=_excitation(record, names, marks),
    )


def _witness(
    record: Record, names: tuple[str, ...], marks: Marks, trace: Trace, setup: DropSetup
) -> Witness | None:
    columns = columns_of(names, ACCELERATION)
    if not columns:
        return None
    scale = record.channel(columns[0]).scale
    known = scale if isinstance(scale, Accelerometer) else None
    step_v = record.calibration.volt_per_count(1)
    return tell_witness(marks, trace, setup, volts_of(record, columns[0]), known, step_v)


def _excitation(record: Record, names: tuple[str, ...], marks: Marks) -> Excitation | None:
    columns = columns_of(names, EXCITATION)
    if not columns:
        return None
    scale = record.channel(columns[0]).scale
    known = scale if isinstance(scale, ExcitationMonitor) else None
    done = supply_factor(record) is not None
    return tell_excitation(marks, volts_of(record, columns[0]), known, corrected=done)


def with_findings(marks: Marks, told: Beside) -> Marks:
    """The marks of the drop, with what the other channels say."""
    return replace(marks, findings=marks.findings + told.findings) if told.findings else marks


_LEFT_OUT = ("marks", "findings", "budget")


def as_json(told: Beside) -> dict[str, object]:
    """The JSON of the other channels; empty for a record of one channel."""
    if not told.channels:
        return {}
    return {
        "channels": list(told.channels),
        "legs": None if told.legs is None else _legs_json(told.legs),
        "witness": None if told.witness is None else _plain(told.witness),
        "excitation": None if told.excitation is None else _plain(told.excitation),
    }


def _legs_json(legs: Legs) -> dict[str, object]:
    return _plain(legs) | {"legs": [_plain(leg) for leg in legs.legs]}


def _plain(told: Leg | Legs | Witness | Excitation) -> dict[str, object]:
    names = [part.name for part in fields(told) if part.name not in (*_LEFT_OUT, "legs")]
    return {name: _number(getattr(told, name)) for name in names}


def _number(value: Any) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value
