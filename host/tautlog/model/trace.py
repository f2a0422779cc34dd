"""Trace and set-up: all that marking needs to know about one drop.

A trace holds no file and no board; it comes from `record.Record.trace()` or
from arrays in a test.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.contradiction import Contradiction
from tautlog.model.key import stated
from tautlog.model.limits import upper_of
from tautlog.model.steps import Steps
from tautlog.model.surroundings import Surroundings

STANDARD_GRAVITY_M_PER_S2 = 9.80665  # ISO 80000-3, by definition


@dataclass(frozen=True)
class Completeness:
    """How a record ended, by its own account.

    Attributes
    ----------
    status : str
        Status of the record: "complete", "recovered", "aborted" or "recording" (never finished).
    ended_by : str
        Name of the reason that the board gave for the end, or "".
    called_off : str
        Why the drop was called off, if the board says that it went safe before any release; else
        "".
    """

    status: str
    ended_by: str = ""
    called_off: str = ""


@dataclass(frozen=True)
class Trace:
    """Force against time on a uniform grid, as measured.

    Attributes
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Force in newtons, positive in tension, zero not removed; NaN for a missing
        sample (never filled in).
    sample_rate_hz : float
        Samples per second; greater than 0. Sample i is at begins_s + i / sample_rate_hz
        seconds from the start of the trace.
    release_time_s : float or None
        First opening of the release switch, or None if not known.
    release_doubt, release_note : str
        Why that time is doubtful; what else the switch did. "" for nothing.
    flash_time_s, flash_late_s : float or None
        When the sync flash was lit, and how long after the release; None if that is not known.
    flash_doubt : str
        Why the flash does not mark the release; "" if it does, or there was none.
    article_wire_s, mount_wire_s : float or None
        First opening of the break wires across the article and across its mount.
    clipped : ndarray of bool, shape (n_samples,)
        Samples at a known limit of converter or amplifier.
    quantum_n : float
        Force of one count; 0 if unknown.
    steps : Steps or None
        What is known of the converter's steps; None if the values are not a converter's.
    newton_per_step : float
        Force of one step of one conversion, negative where tension lowers the voltage.
    calibration_u_fraction : float
        Expanded relative uncertainty (k = 2) of the calibration.
    calibration_u_n : float
        Expanded uncertainty (k = 2) of any force, in addition.
    covered_n : float
        Largest force that the calibration covers; 0 if unknown.
    bandwidth_hz : float
        Bandwidth of the amplifier, -3 dB; 0 if unknown.
    filter_poles : int
        Poles of amplifier and filter; 0 if unknown.
    conversion_rate_hz : float
        Conversions of this channel in a second, before any are summed; 0 if unknown.
    calibration_expired : bool
        The calibration was too old on the day of the drop.
    completeness : Completeness or None
        How its record ended; None if it did not come from a board.
    contradictions : tuple of Contradiction
        Reports of the board that cannot all be true.
    begins_s : float
        Time of the first sample; 0 but for an excerpt, whose times are those of its record.
    """

    force_n: npt.NDArray[np.float64]
    sample_rate_hz: float
    release_time_s: float | None = None
    article_wire_s: float | None = None
    mount_wire_s: float | None = None
    clipped: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    quantum_n: float = 0.0
    steps: Steps | None = None
    newton_per_step: float = 0.0
    calibration_u_fraction: float = 0.04
    calibration_u_n: float = 0.0
    covered_n: float = 0.0
    bandwidth_hz: float = 0.0
    filter_poles: int = 0
    conversion_rate_hz: float = 0.0
    calibration_expired: bool = False
    completeness: Completeness | None = None
    release_doubt: str = ""
    release_note: str = ""
    flash_time_s: float | None = None
    flash_late_s: float | None = None
    flash_doubt: str = ""
    contradictions: tuple[Contradiction, ...] = ()
    begins_s: float = 0.0

    def __post_init__(self) -> None:
        if not self.sample_rate_hz > 0:
            raise ValueError(f"`sample_rate_hz` must be > 0, was {self.sample_rate_hz!r}")
        if self.force_n.ndim != 1:
            raise ValueError(f"`force_n` must have one axis, had {self.force_n.ndim}")
        if self.clipped.size == 0:
            object.__setattr__(self, "clipped", np.zeros(self.force_n.size, dtype=bool))
        if self.clipped.shape != self.force_n.shape:
            raise ValueError(
                f"`clipped` has shape {self.clipped.shape}, `force_n` {self.force_n.shape}"
            )

    def under(self, calibration: Calibration) -> Trace:
        """The same trace, with the uncertainty, range and bandwidth of its calibration."""
        return replace(
            self,
            calibration_u_fraction=calibration.expanded_u_fraction,
            calibration_u_n=calibration.expanded_u_n,
            covered_n=calibration.range_n,
            bandwidth_hz=calibration.bandwidth_hz,
            filter_poles=calibration.filter_poles,
        )

    def counted(self, calibration: Calibration, reduction: int) -> Trace:
        """The same trace, as one that comes from counts of the calibration's converter."""
        return replace(
            self,
            quantum_n=calibration.quantum_n(reduction),
            steps=calibration.steps,
            newton_per_step=calibration.volt_per_count(1) * calibration.newton_per_volt,
        )

    def steps_u_n(self, *raw_n: float) -> float:
        """Standard uncertainty, from unequal steps, of the difference of two forces of the trace.

        The force of one step is that at the zero; a slight curvature does not matter here.
        """
        if self.steps is None or not self.newton_per_step:
            return 0.0
        levels = (force_n / self.newton_per_step for force_n in raw_n)
        return abs(self.newton_per_step) * self.steps.u_steps(*levels)

    @property
    def time_s(self) -> npt.NDArray[np.float64]:
        """Seconds from the start of the trace, shape (n_samples,)."""
        return self.begins_s + np.arange(self.force_n.size) / self.sample_rate_hz

    def at_s(self, place: float) -> float:
        """Time of a place in samples, with a fraction."""
        return self.begins_s + place / self.sample_rate_hz

    def place_of(self, time_s: float) -> float:
        """Place of a time in samples, with a fraction."""
        return (time_s - self.begins_s) * self.sample_rate_hz


@dataclass(frozen=True)
class DropSetup:
    """What is stated about one drop; None or "" if not stated.

    Attributes
    ----------
    mass_kg : float or None
        Mass of all that moves, with half the line.
    height_m : float or None
        Free travel of the sled until the line is taut (slack distance).
    target_n, limit_n : float or None
        Force that the test must reach; force above which it is an overload
        (default: 1.1 x target).
    fittings_kg : float or None
        Mass that hangs between cell and article, or between cell and sled.
    shortest_s, longest_s : float or None
        Shortest and longest duration allowed, above 10 % of the peak.
    article, line, mount, operator, note : str
        Names and remarks, as typed.
    shunt_off : float or None
        Measured step of the shunt resistor after the drop over the step before it, minus one.
    end_state : str
        End of a good drop: the sled "hangs", or "rests" on the catch.
    checklist, override : str
        The checklist before the drop; who overrode a refusal, and why.
    article_finding : str
        What the inspection found: one of `inspection.ARTICLE_FINDINGS`.
    not_sealed : str or None
        What differs from the seal of its record; None if the seal holds.
    judged_on : str or None
        The force channel whose peak is held against target and limit; None for the sum of all.
    leg_facts : str
        What is stated of each leg, as `leg_facts.as_text` writes it; "" if nothing is.
    temperature_c, humidity_percent, condition, since_conditioning_h : ...
        See `surroundings.Surroundings`.
    """

    mass_kg: float | None = field(
        default=None,
        metadata=stated("Mass of all that moves: sled, weights, half the line.", 9.0, q.MASS),
    )
    height_m: float | None = field(
        default=None, metadata=stated("Free travel until the line is taut.", 1.2, q.HEIGHT)
    )
    target_n: float | None = None
    limit_n: float | None = None
    fittings_kg: float | None = field(
        default=None,
        metadata=stated(
            "Mass that hangs between the cell and the article.", 0.4, q.FITTINGS, optional=True
        ),
    )
    shortest_s: float | None = None
    longest_s: float | None = None
    article: str = field(
        default="", metadata=stated("Name of the part under test, as in [[article]].", "bridle-1")
    )
    line: str = field(
        default="",
        metadata=stated(
            "Name of the line that springs taut, as in [[line]].", "polyester 8 mm, 1.5 m"
        ),
    )
    operator: str = field(default="", metadata=stated("Name of the person who runs the drop."))
    note: str = field(default="", metadata=stated("Remarks to keep in every record."))
    shunt_off: float | None = None
    end_state: str = "hangs"
    checklist: str = ""
    override: str = ""
    article_finding: str = "not-inspected"
    mount: str = ""
    not_sealed: str | None = None
    judged_on: str | None = None
    leg_facts: str = ""
    temperature_c: float | None = None
    humidity_percent: float | None = None
    condition: str = ""
    since_conditioning_h: float | None = None

    @property
    def surroundings(self) -> Surroundings:
        """What was told of the air, and of line and article in it."""
        return Surroundings(
            self.temperature_c, self.humidity_percent, self.condition, self.since_conditioning_h
        )

    @property
    def weight_n(self) -> float | None:
        """Weight of the sled, m g, or None without a mass."""
        return None if self.mass_kg is None else self.mass_kg * STANDARD_GRAVITY_M_PER_S2

    @property
    def upper_n(self) -> float | None:
        """The limit force, or 1.1 x target without one, or None."""
        return upper_of(self.target_n, self.limit_n)
