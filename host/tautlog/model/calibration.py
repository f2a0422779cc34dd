"""Calibration: what one volt at the converter means in newtons, and for how long.

Cell, amplifier and converter are calibrated as one chain. The zero is not part of
it: it is taken from the slack line of every drop (see `marks`).
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tautlog.model import quantities as q
from tautlog.model.key import COUNT, stated

# Fraction of the span between the amplifier's limits. A level this close to a limit cannot show
# its own noise: four times the noise of a quiet chain.
RAIL_MARGIN = 0.005
HIDDEN_STEPS = 2  # of one conversion: a mean this close to a limit includes some at the limit


@dataclass(frozen=True)
class Calibration:
    """One calibration of the whole measuring chain, straight or slightly curved.

    Attributes
    ----------
    newton_per_volt : float
        Calibration factor, the inverse of the sensitivity. Negative if the
        cell is wired so that tension lowers the voltage.
    newton_per_square_volt : float
        Curvature: newton_per_square_volt x (volt - zero_v)**2 is added; newton_per_volt is the
        slope at zero_v. 0 for a straight line.
    zero_v : float or None
        Measured level at the converter with no force; None if not measured.
    expanded_u_fraction : float
        Expanded relative uncertainty (k = 2) of a force, from the calibration
        alone. The default of 0.04 is common practice for a rig without a dynamic
        check.
    expanded_u_n : float
        Expanded uncertainty (k = 2) of any force, however small, in addition: parts that do not
        grow with the force, such as non-linearity, hysteresis and zero return. 0 in old files.
    reference_v : float
        Voltage of the converter's full scale.
    converter_bits : int
        Resolution of one conversion; a sample is the sum of `reduction` of them.
    rail_low_v, rail_high_v : float
        Output limits of the amplifier; a reading beyond them is clipped. They
        lie inside the converter's range.
    range_n : float
        Largest force that the calibration covers; 0 if unknown.
    bandwidth_hz : float
        Bandwidth of amplifier and anti-alias filter, -3 dB; 0 if unknown.
    filter_poles : int
        Poles of that low-pass; 0 if unknown, and in old files.
    good_for_days : int
        Days for which it is valid, from `date` on; 0 for no end.
    date : str
        ISO date, or "" if unknown; any other text counts as expired.
    note : str
        Serial numbers, method, who did it.
    accepted : str
        Who accepts an implausible slope, and why: "NAME: REASON"; else "".
    """

    newton_per_volt: float = field(
        default=1000.0,
        metadata=stated(
            "Newtons per volt at the converter. Negative if tension lowers the voltage: then no "
            "drop until a calibration with weights shows it, too, or a named person accepts it.",
            quantity=q.SLOPE,
        ),
    )
    newton_per_square_volt: float = field(
        default=0.0,
        metadata=stated(
            "Curvature, for the square of the voltage above zero_v. 0: straight line.",
            quantity=q.CURVATURE,
        ),
    )
    zero_v: float | None = field(
        default=None,
        metadata=stated("Measured level with no force.", 0.45, q.VOLT, optional=True),
    )
    expanded_u_fraction: float = field(
        default=0.04,
        metadata=stated(
            "Expanded relative uncertainty (k = 2) of a force: 0.04 is 4 %.", quantity=q.SHARE
        ),
    )
    expanded_u_n: float = field(
        default=0.0,
        metadata=stated(
            "Expanded uncertainty (k = 2) that does not grow with the force, in addition.",
            quantity=q.LOAD,
        ),
    )
    reference_v: float = field(
        default=3.3, metadata=stated("Full scale of the converter.", quantity=q.FULL_SCALE)
    )
    converter_bits: int = field(
        default=12, metadata=stated("Resolution of the converter.", whole=(1, 16))
    )
    rail_low_v: float = field(
        default=0.05, metadata=stated("Lowest output of the amplifier.", quantity=q.VOLT)
    )
    rail_high_v: float = field(
        default=3.2, metadata=stated("Highest output of the amplifier.", quantity=q.VOLT)
    )
    range_n: float = field(
        default=0.0,
        metadata=stated("Largest load of the calibration. 0: unknown.", quantity=q.LOAD),
    )
    bandwidth_hz: float = field(
        default=0.0,
        metadata=stated(
            "Bandwidth of amplifier and anti-alias filter, -3 dB. 0: unknown.", quantity=q.BANDWIDTH
        ),
    )
    filter_poles: int = field(
        default=0,
        metadata=stated(
            "Poles of that low-pass: 1 for one RC stage, 2 for two or for a stage of second order. "
            "0: unknown, then one pole is the bound.",
            whole=(0, 12),
        ),
    )
    good_for_days: int = field(
        default=365,
        metadata=stated("Days until the next calibration is due. 0: no end.", whole=COUNT),
    )
    date: str = field(
        default="", metadata=stated("Day of the calibration, such as 2026-03-01.", day=True)
    )
    note: str = field(default="", metadata=stated("Serial numbers, method, who did it."))
    accepted: str = field(
        default="",
        metadata=stated(
            "Who accepts a slope that contradicts the data sheet, and why.",
            "R. Lead: shunt trimmed by hand",
            optional=True,
        ),
    )

    def volt_per_count(self, reduction: int) -> float:
        """Volts of one count of a sample that sums `reduction` conversions."""
        # One step is full scale / 2**bits, not / (2**bits - 1): RP2350 datasheet,
        # section 12.4.6, works its temperature example with 4096.
        return self.reference_v / ((1 << self.converter_bits) * reduction)

    def force_n(self, counts: npt.NDArray[np.uint16], reduction: int) -> npt.NDArray[np.float64]:
        """Force in newtons, zero not removed, of raw counts of any shape."""
        force = counts.astype(np.float64) * (self.volt_per_count(reduction) * self.newton_per_volt)
        if self.newton_per_square_volt:
            volts = counts * self.volt_per_count(reduction)
            force += self.newton_per_square_volt * (volts - (self.zero_v or 0.0)) ** 2
        return force

    def working_range_v(self) -> tuple[float, float]:
        """Voltages at or beyond which the amplifier counts as being at a limit, in V."""
        low_v, high_v = self.rail_low_v, self.rail_high_v
        top_v = self.reference_v - self.volt_per_count(1)
        margin_v = RAIL_MARGIN * (high_v - low_v)
        return low_v + margin_v, min(high_v, top_v) - margin_v

    def expanded_u_at_n(self, force_n: float) -> float:
        """Expanded uncertainty (k = 2) of a force, both parts together."""
        return math.hypot(self.expanded_u_fraction * force_n, self.expanded_u_n)

    def expired_on(self, day: str) -> bool:
        """Whether it is too old on an ISO day or time; False if date or end is not stated.

        A date that is not a valid day counts as too old.
        """
        if not self.good_for_days or not self.date:
            return False
        try:
            made, used = (datetime.date.fromisoformat(date) for date in (self.date, day[:10]))
        except ValueError:
            return True
        return (used - made).days > self.good_for_days

    def quantum_n(self, reduction: int) -> float:
        """Force of one count."""
        return abs(self.volt_per_count(reduction) * self.newton_per_volt)

    def clipped(self, counts: npt.NDArray[np.uint16], reduction: int) -> npt.NDArray[np.bool_]:
        """Samples at or beyond the amplifier's rails or the converter's limits."""
        step_v = self.volt_per_count(reduction)
        # If a sample sums several conversions, noise keeps some of them off the limit.
        hidden = HIDDEN_STEPS * reduction if reduction > 1 else 0
        low = max(self.rail_low_v / step_v, hidden)
        high = min(self.rail_high_v / step_v, ((1 << self.converter_bits) - 1) * reduction - hidden)
        return (counts <= low) | (counts >= high)


# What a calibration measures; campaign.toml states the rest.
MEASURED = (
    "newton_per_volt",
    "newton_per_square_volt",
    "zero_v",
    "expanded_u_fraction",
    "expanded_u_n",
    "range_n",
    "date",
    "note",
    "accepted",
)
