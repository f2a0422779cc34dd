"""Sections: what campaign.toml may state, a frozen dataclass for each section.

Every field that a file may state carries its key, with unit, example and meaning; see
`tautlog.model.key`. A value that is not stated is None, "" or the default. The sections [drop],
[calibration], [[mount]] and [[element]] are declared where their values are used: `DropSetup`,
`Calibration`, `Mount` and `Element`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE
from tautlog.model.key import COUNT, stated
from tautlog.model.line import Line, stiffness_of_rope
from tautlog.model.window import CHIPS


@dataclass(frozen=True)
class About:
    """What the folder is about."""

    name: str = field(default="", metadata=stated("Name of the campaign.", "kite recovery bridle"))
    note: str = field(default="", metadata=stated("Remarks for the report."))
    kind: str = field(
        default="drops",
        metadata=stated(
            "rehearsal: a campaign to practise with. It meets rehearsed boards only, and nothing "
            "in it counts.",
            choices=("drops", "rehearsal"),
            optional=True,
        ),
    )


@dataclass(frozen=True)
class Connection:
    """How the laptop reaches the board."""

    port: str = field(
        default="",
        metadata=stated("Serial port, or socket://host:port."),
    )
    link_timeout_s: float = field(
        default=2.0,
        metadata=stated("How long to wait for an answer from the board.", quantity=q.PATIENCE),
    )
    chip: str = field(
        default="RP2040",
        metadata=stated("Chip of the board, for plans.", choices=tuple(CHIPS), optional=True),
    )
    sample_rate_hz: float | None = field(
        default=None,
        metadata=stated(
            "Samples per second of one channel, as `health` shows, for plans.",
            62_500.0,
            q.RATE,
            optional=True,
        ),
    )


@dataclass(frozen=True)
class RigLimits:
    """Limits of the rig."""

    rails_m: float | None = field(
        default=None,
        metadata=stated(
            "Length of the rails from the highest latch down to the catch.", 2.6, q.LENGTH
        ),
    )
    margin_m: float = field(
        default=0.0, metadata=stated("Length that must stay free above the catch.", 0.10, q.MARGIN)
    )
    catch_energy_j: float | None = field(
        default=None,
        metadata=stated("Energy that the catch takes without any line.", 300.0, q.ENERGY),
    )
    catch_stroke_m: float | None = field(
        default=None,
        metadata=stated(
            "Stroke in which the catch stops the sled: the weight goes on pushing over it.",
            0.10,
            q.STROKE,
        ),
    )
    most_mass_kg: float | None = field(
        default=None,
        metadata=stated("Largest mass that latch, hoist and rails are made for.", 25.0, q.MASS),
    )
    friction_n: float | None = field(
        default=None,
        metadata=stated(
            "Friction of the rails: half of (force that pulls the sled up - force that lowers it).",
            3.5,
            q.FRICTION,
        ),
    )
    end_state: str = field(
        default="hangs",
        metadata=stated(
            "End of a good drop. hangs: the sled hangs on the line; rests: it rests on the catch.",
            choices=("hangs", "rests"),
        ),
    )


@dataclass(frozen=True)
class Cell:
    """The load cell, from its data sheet."""

    rated_n: float | None = field(default=None, metadata=stated("Rated load.", 5000.0, q.FORCE))
    sensitivity_mv_per_v: float | None = field(
        default=None,
        metadata=stated("Output at rated load, by the data sheet.", 2.0, q.SENSITIVITY),
    )
    excitation_v: float | None = field(
        default=None, metadata=stated("Supply voltage of the bridge.", 5.0, q.EXCITATION)
    )
    bridge_ohm: float | None = field(
        default=None, metadata=stated("Resistance of one bridge arm.", 350.0, q.BRIDGE)
    )
    shunt_ohm: float | None = field(
        default=None,
        metadata=stated(
            "Resistor that the board's shunt switch connects across one arm. Its step is read and "
            "judged before every drop.",
            87150.0,
            q.SHUNT,
            optional=True,
        ),
    )
    serial: str = field(default="", metadata=stated("Serial number."))
    certificate: str = field(default="", metadata=stated("Number and class of the certificate."))
    certificate_date: str = field(
        default="", metadata=stated("Day of the certificate, such as 2026-03-01.", day=True)
    )
    certified_mv_per_v: float | None = field(
        default=None,
        metadata=stated(
            "Output at rated load, by the certificate. Calibrations are checked against it.",
            2.0006,
            q.SENSITIVITY,
            optional=True,
        ),
    )

    channel: str = field(
        default=FORCE,
        metadata=stated(
            "Channel of this cell, if the board has several force channels: the first of CHANNELS.",
            "force left",
            optional=True,
        ),
    )

    @property
    def best_mv_per_v(self) -> float | None:
        """Output at rated load by the certificate, else by the data sheet."""
        return self.certified_mv_per_v or self.sensitivity_mv_per_v


@dataclass(frozen=True)
class ForceChannel:
    """A force channel beyond the first: a leg with a cell and an amplifier of its own."""

    name: str = field(
        metadata=stated("Name of the channel, as in the board's CHANNELS.", "force right")
    )
    rated_n: float | None = field(
        default=None, metadata=stated("Rated load of its cell.", 5000.0, q.FORCE)
    )
    sensitivity_mv_per_v: float | None = field(
        default=None,
        metadata=stated("Output at rated load, by data sheet or certificate.", 2.0, q.SENSITIVITY),
    )
    excitation_v: float | None = field(
        default=None, metadata=stated("Supply voltage of its bridge.", 5.0, q.EXCITATION)
    )
    gain: float | None = field(
        default=None, metadata=stated("Gain of its amplifier.", 500.0, q.GAIN)
    )
    zero_v: float | None = field(
        default=None, metadata=stated("Output voltage without a force.", 0.45, q.VOLT)
    )
    rail_low_v: float | None = field(
        default=None,
        metadata=stated(
            "Lowest output, if other than the first channel's.", 0.05, q.VOLT, optional=True
        ),
    )
    rail_high_v: float | None = field(
        default=None,
        metadata=stated(
            "Highest output, if other than the first channel's.", 3.2, q.VOLT, optional=True
        ),
    )
    bandwidth_hz: float | None = field(
        default=None,
        metadata=stated(
            "Bandwidth, -3 dB, if other than the first channel's.",
            2000.0,
            q.BANDWIDTH,
            optional=True,
        ),
    )
    serial: str = field(default="", metadata=stated("Serial numbers of cell and amplifier."))

    @property
    def cell(self) -> Cell:
        """Its cell."""
        return Cell(
            rated_n=self.rated_n,
            sensitivity_mv_per_v=self.sensitivity_mv_per_v,
            excitation_v=self.excitation_v,
            serial=self.serial,
            channel=self.name,
        )

    @property
    def amplifier(self) -> Amplifier:
        """Its amplifier."""
        return Amplifier(gain=self.gain, zero_v=self.zero_v)

    def base(self, first: Calibration) -> Calibration:
        """The converter and amplifier of its calibrations: as the first's, but for what differs."""
        own = {
            name: getattr(self, name)
            for name in ("rail_low_v", "rail_high_v", "bandwidth_hz")
            if getattr(self, name) is not None
        }
        return replace(first, zero_v=self.zero_v, accepted="", **own)


@dataclass(frozen=True)
class Amplifier:
    """Amplifier and filter."""

    gain: float | None = field(
        default=None, metadata=stated("Gain, output over input voltage.", 500.0, q.GAIN)
    )
    zero_v: float | None = field(
        default=None, metadata=stated("Output voltage without a force.", 0.45, q.VOLT)
    )
    serial: str = field(default="", metadata=stated("Serial number."))


@dataclass(frozen=True)
class DecisionRule:
    """How verdicts are reached, agreed before the first drop."""

    rule: str = field(
        default="guarded",
        metadata=stated(
            "Decision rule. guarded: the expanded uncertainty narrows the band at both ends.",
            choices=("guarded",),
        ),
    )
    decides: str = field(default="", metadata=stated("Name of the person who decides on a test."))
    checklist: str = field(
        default="advised",
        metadata=stated(
            "advised, or required: then no drop without a fresh `tautlog check`.",
            choices=("advised", "required"),
        ),
    )
    mount_over_article: float = field(
        default=1.5,
        metadata=stated("Least strength of the mount over that of the article.", quantity=q.FACTOR),
    )
    proof_factor: float = field(
        default=1.25,
        metadata=stated("Least proof pull of the mount over the planned peak.", quantity=q.FACTOR),
    )


@dataclass(frozen=True)
class StatedLine:
    """A line, as campaign.toml states it."""

    name: str = field(
        metadata=stated("Name of the line, as in [drop] line.", "polyester 8 mm, 1.5 m")
    )
    stiffness_n_per_m: float | None = field(
        default=None, metadata=stated("Stiffness of the line with its rig.", 21000.0, q.STIFFNESS)
    )
    modulus_n: float | None = field(
        default=None,
        metadata=stated(
            "EA of the line, instead of a stiffness; needs length_m.",
            31500.0,
            q.MODULUS,
            optional=True,
        ),
    )
    length_m: float | None = field(
        default=None, metadata=stated("Length between its eyes.", 1.5, q.LENGTH, optional=True)
    )
    hardening_per_m2: float = field(
        default=0.0, metadata=stated("Hardening b in F = k x (1 + b x2).", 4.0, q.HARDENING)
    )
    damping_ratio: float = field(
        default=0.0,
        metadata=stated(
            "Damping with the sled, a fraction of critical.",
            0.12,
            q.DAMPING,
            former="damping_fraction",
        ),
    )
    drops_before: int | None = field(
        default=None,
        metadata=stated("Drops before this campaign, not in its records.", 0, whole=COUNT),
    )
    retired: str | None = field(
        default=None,
        metadata=stated(
            "Fill this in to retire it: who, when and why. Drops with it are then refused.",
            "A. Rigger, 2026-03-01: sheath cut",
            optional=True,
        ),
    )

    @property
    def line(self) -> Line | None:
        """The line for predictions; None if its stiffness is not stated."""
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

    name: str = field(metadata=stated("Name of the article, as in [drop] article.", "bridle-1"))
    version: str = field(default="", metadata=stated("Version of its drawing.", "A"))
    note: str = field(default="", metadata=stated("Material, serial number, maker."))
    retired: str | None = field(
        default=None,
        metadata=stated(
            "Fill this in to retire it: who, when and why. Drops with it are then refused.",
            "A. Rigger, 2026-03-01: eye worn",
            optional=True,
        ),
    )
