"""Calibration: what one volt at the converter means in newtons, and for how long.

Cell, amplifier and converter are calibrated as one chain. The zero is not part of
it: it is taken from the slack line of every drop (see `marks`).
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tautlog.firmware import wire
from tautlog.model import quantities as q
from tautlog.model.key import COUNT, stated
from tautlog.model.steps import CHIPS, EVEN, Steps, steps_of

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
        Resolution of one conversion; a sample is made of `reduction` of them, see
        `wire.full_scale`.
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
    converter : str
        Whose steps the readings are corrected by: "RP2040" or "RP2350" for the published mean of
        such chips, "even" for a converter whose steps are equal, the text of a measured table
        (`Linearity.text`), or "" if it is not known; then nothing is corrected, and doubted more.
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
        default=12, metadata=stated("Resolution of the converter: 12 or 16.", whole=(1, 16))
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
    converter: str = field(
        default="",
        metadata=stated(
            "Whose steps the readings are corrected by: the chip of the board, or even for a "
            "separate converter. A calibration with a board, and `tautlog converter`, know it.",
            "RP2040",
            choices=("", *CHIPS, EVEN),
            optional=True,
        ),
    )

    @property
    def resolved(self) -> Calibration:
        """The same with the table of its converter in place of a chip's name.

        What is kept must not change with the table of a later version of this program.
        """
        linearity = self.steps.linearity
        return self if linearity is None else replace(self, converter=linearity.text)

    @property
    def steps(self) -> Steps:
        """The converter's steps, and what is known of them."""
        return steps_of(self.converter, self.converter_bits)

    def volt_per_count(self, reduction: int) -> float:
        """Volts of one count of a sample that is made of `reduction` conversions."""
        # One step is full scale / 2**bits, not / (2**bits - 1): RP2350 datasheet,
        # section 12.4.6, works its temperature example with 4096; data sheets of 16-bit
        # converters define their step so, too.
        return self.reference_v / self.full_scale(reduction)

    def full_scale(self, reduction: int) -> int:
        """Counts of a sample at `reference_v`."""
        return int(wire.full_scale(self.converter_bits, reduction))

    def force_n(
        self, counts: npt.NDArray[np.uint16], reduction: int, noise_steps: float | None = None
    ) -> npt.NDArray[np.float64]:
        """Force in newtons, zero not removed, of raw counts of any shape.

        Parameters
        ----------
        counts : ndarray of uint16
            Samples, each made of `reduction` conversions; see `wire.full_scale`.
        reduction : int
            See there.
        noise_steps : float or None
            Noise of one conversion, rms, if it is known; see `Linearity.levels`.
        """
        return self._force_at(self.volts(counts, reduction, noise_steps))

    def volts(
        self, counts: npt.NDArray[np.uint16], reduction: int, noise_steps: float | None = None
    ) -> npt.NDArray[np.float64]:
        """Volts of raw counts of any shape, corrected for the converter's steps; see `force_n`."""
        linearity = self.steps.linearity
        if linearity is None:
            return counts.astype(np.float64) * self.volt_per_count(reduction)
        # Where sums would not fit 16 bits, counts are means: every so many sums.
        per_count = (reduction << self.converter_bits) // self.full_scale(reduction)
        levels = linearity.levels(reduction, noise_steps)[::per_count]
        return np.take(levels * self.volt_per_count(1), counts, mode="clip")

    def _force_at(self, volts: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        force = volts * self.newton_per_volt
        if self.newton_per_square_volt:
            force += self.newton_per_square_volt * (volts - (self.zero_v or 0.0)) ** 2
        return force

    def true_v(
        self, read_v: npt.ArrayLike, by_meter: npt.ArrayLike = False
    ) -> npt.NDArray[np.float64]:
        """Voltages that means over many conversions stand for, read as if all steps were equal.

        What another meter read (`by_meter`, for all or for each) is true as it is.
        """
        read = np.asarray(read_v, dtype=np.float64)
        linearity = self.steps.linearity
        if linearity is None:
            return read
        step_v = self.volt_per_count(1)
        return np.where(by_meter, read, linearity.level_of_mean(read / step_v) * step_v)

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
        one = self.full_scale(reduction) >> self.converter_bits  # counts of one step
        # If a sample is made of several conversions, noise keeps some of them off the limit.
        hidden = HIDDEN_STEPS * one if reduction > 1 else 0
        low = max(self.rail_low_v / step_v, hidden)
        high = min(self.rail_high_v / step_v, ((1 << self.converter_bits) - 1) * one - hidden)
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
    "converter",
)
