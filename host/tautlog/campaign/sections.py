"""Sections: what campaign.toml may state, a frozen dataclass for each section.

Every field that a file may state carries its key, with unit, example and meaning; see
`tautlog.model.key`. What nobody stated is None, "" or the default. The sections [drop],
[calibration], [[mount]] and [[element]] are declared where their values are used: `DropSetup`,
`Calibration`, `Mount` and `Element`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.key import COUNT, stated
from tautlog.model.line import Line, stiffness_of_rope


@dataclass(frozen=True)
class About:
    """What the folder is about."""

    name: str = field(default="", metadata=stated("Name of the campaign.", "kite recovery bridle"))
    note: str = field(default="", metadata=stated("Remarks for the report."))


@dataclass(frozen=True)
class Requirement:
    """The load that the part must be proven for."""

    kind: str = field(
        default="limit",
        metadata=stated(
            "limit: no detrimental permanent deformation. ultimate: no rupture.",
            choices=("limit", "ultimate"),
        ),
    )
    target_n: float | None = field(
        default=None,
        metadata=stated(
            "Force that the test must reach; or flight load and factors instead of it.",
            1800.0,
            q.FORCE,
        ),
    )
    flight_load_n: float | None = field(
        default=None,
        metadata=stated(
            "Largest load in flight; times both factors it is the target.",
            1200.0,
            q.FORCE,
            optional=True,
        ),
    )
    design_factor: float = field(
        default=1.0, metadata=stated("On the flight load.", 1.25, q.FACTOR, optional=True)
    )
    test_factor: float = field(
        default=1.0, metadata=stated("On the design load.", 1.2, q.FACTOR, optional=True)
    )
    limit_n: float | None = field(
        default=None,
        metadata=stated(
            "Force above which the part is overloaded; without it 1.1 x target.",
            1980.0,
            q.FORCE,
            optional=True,
        ),
    )
    shortest_duration_s: float | None = field(
        default=None,
        metadata=stated(
            "The pulse must last at least this long, above 10 % of its peak.",
            0.02,
            q.PULSE,
            optional=True,
        ),
    )
    longest_duration_s: float | None = field(
        default=None, metadata=stated("And at most this long.", 0.2, q.PULSE, optional=True)
    )
    criterion: str = field(
        default="",
        metadata=stated(
            "What inspection must find for the part to have held.",
            "no visible crack; eye distance within 0.5 mm of before",
        ),
    )
    source: str = field(
        default="", metadata=stated("Where the load comes from.", "load sheet 4, revision B")
    )

    @property
    def derived_target_n(self) -> float | None:
        """Flight load x design factor x test factor, or None without a load."""
        if self.flight_load_n is None:
            return None
        return self.flight_load_n * self.design_factor * self.test_factor


@dataclass(frozen=True)
class Connection:
    """How the laptop reaches the board."""

    port: str = field(
        default="",
        metadata=stated("Serial port or socket://host:port; empty: find the board."),
    )
    link_timeout_s: float = field(
        default=2.0, metadata=stated("Patience with the board.", quantity=q.PATIENCE)
    )


@dataclass(frozen=True)
class Rig:
    """Limits of the rig."""

    rails_m: float | None = field(
        default=None, metadata=stated("From the highest latch down to the catch.", 2.6, q.LENGTH)
    )
    margin_m: float = field(
        default=0.0, metadata=stated("That must be left above the catch.", 0.10, q.MARGIN)
    )
    catch_energy_j: float | None = field(
        default=None,
        metadata=stated("That the catch takes with no line at all.", 300.0, q.ENERGY),
    )
    most_mass_kg: float | None = field(
        default=None, metadata=stated("That latch, hoist and rails are made for.", 25.0, q.MASS)
    )
    friction_n: float | None = field(
        default=None,
        metadata=stated("Half of what pulls it up less what lowers it.", 3.5, q.FRICTION),
    )
    end_state: str = field(
        default="hangs",
        metadata=stated(
            "What a good drop ends with: the sled hangs, or rests on the catch.",
            choices=("hangs", "rests"),
        ),
    )


@dataclass(frozen=True)
class Cell:
    """The load cell, from its data sheet."""

    rated_n: float | None = field(default=None, metadata=stated("Rated load.", 5000.0, q.FORCE))
    sensitivity_mv_per_v: float | None = field(
        default=None, metadata=stated("Output at rated load.", 2.0, q.SENSITIVITY)
    )
    excitation_v: float | None = field(
        default=None, metadata=stated("Supply of the bridge.", 5.0, q.EXCITATION)
    )
    bridge_ohm: float | None = field(
        default=None, metadata=stated("Resistance of one arm.", 350.0, q.BRIDGE)
    )
    shunt_ohm: float | None = field(
        default=None,
        metadata=stated(
            "Resistor that the board's shunt switch lays across one arm; its step is read and "
            "judged before every drop.",
            87150.0,
            q.SHUNT,
            optional=True,
        ),
    )
    serial: str = field(default="", metadata=stated("Serial number."))
    certificate: str = field(default="", metadata=stated("Number and class of its certificate."))
    certificate_date: str = field(
        default="", metadata=stated("Its day, such as 2026-03-01.", day=True)
    )
    certified_mv_per_v: float | None = field(
        default=None,
        metadata=stated(
            "Output at rated load by the certificate; a calibration is held against it.",
            2.0006,
            q.SENSITIVITY,
            optional=True,
        ),
    )

    @property
    def best_mv_per_v(self) -> float | None:
        """Output at rated load by the certificate, else by the data sheet."""
        return self.certified_mv_per_v or self.sensitivity_mv_per_v


@dataclass(frozen=True)
class Amplifier:
    """Amplifier and filter."""

    gain: float | None = field(
        default=None, metadata=stated("Volts out over volts in.", 500.0, q.GAIN)
    )
    zero_v: float | None = field(
        default=None, metadata=stated("Output without a force.", 0.45, q.VOLT)
    )
    serial: str = field(default="", metadata=stated("Serial number."))


@dataclass(frozen=True)
class DecisionRule:
    """How verdicts are reached, agreed before the first drop."""

    rule: str = field(
        default="guarded",
        metadata=stated(
            "guarded: the expanded uncertainty is taken off both ends of the band.",
            choices=("guarded",),
        ),
    )
    decides: str = field(default="", metadata=stated("Name of the person who decides."))
    checklist: str = field(
        default="advised",
        metadata=stated(
            "required: no drop without a fresh `tautlog check`.", choices=("advised", "required")
        ),
    )
    mount_over_article: float = field(
        default=1.5, metadata=stated("Strength of mount over article.", quantity=q.FACTOR)
    )
    proof_factor: float = field(
        default=1.25, metadata=stated("Proof of the mount over the peak.", quantity=q.FACTOR)
    )


@dataclass(frozen=True)
class StatedLine:
    """What springs taut, as campaign.toml states it."""

    name: str = field(metadata=stated("As in [drop] line.", "polyester 8 mm, 1.5 m"))
    stiffness_n_per_m: float | None = field(
        default=None, metadata=stated("With the rig that it hangs on.", 21000.0, q.STIFFNESS)
    )
    modulus_n: float | None = field(
        default=None,
        metadata=stated("EA, instead: over length_m.", 31500.0, q.MODULUS, optional=True),
    )
    length_m: float | None = field(
        default=None, metadata=stated("Length between its eyes.", 1.5, q.LENGTH, optional=True)
    )
    hardening_per_m2: float = field(
        default=0.0, metadata=stated("b of F = k x (1 + b x2).", 4.0, q.HARDENING)
    )
    damping_ratio: float = field(
        default=0.0,
        metadata=stated("Of critical, with the sled.", 0.12, q.DAMPING, former="damping_fraction"),
    )
    drops_before: int | None = field(
        default=None, metadata=stated("Drops that are in no record here.", 0, whole=COUNT)
    )
    retired: str | None = field(
        default=None,
        metadata=stated(
            "Why it must not be dropped any more; refused from then on.",
            "A. Rigger, 2026-03-01: sheath cut",
            optional=True,
        ),
    )

    @property
    def line(self) -> Line | None:
        """What a drop can be predicted with; None where nothing tells its stiffness."""
        stiffness, source = self.stiffness_n_per_m, "campaign.toml"
        if stiffness is None:
            if self.modulus_n is None or self.length_m is None:
                return None
            stiffness = stiffness_of_rope(self.modulus_n, self.length_m)
            source = "EA / L of campaign.toml"
        return Line(
            name=self.name,
            stiffness_n_per_m=stiffness,
            hardening_per_m2=self.hardening_per_m2,
            damping_ratio=self.damping_ratio,
            drops=self.drops_before,
            source=source,
        )


@dataclass(frozen=True)
class Article:
    """A part under test."""

    name: str = field(metadata=stated("As in [drop] article.", "bridle-1"))
    version: str = field(default="", metadata=stated("Of its drawing.", "A"))
    note: str = field(default="", metadata=stated("Material, serial number, who made it."))
    retired: str | None = field(
        default=None,
        metadata=stated(
            "Why it must not be dropped any more; refused from then on.",
            "A. Rigger, 2026-03-01: eye worn",
            optional=True,
        ),
    )
