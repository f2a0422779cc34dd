"""Keys: all that may stand in campaign.toml, each with its unit in its name.

A new file is written from this table, and a file that is read is held against it.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.model import quantities as q
from tautlog.model.names import short
from tautlog.model.quantities import Quantity
from tautlog.model.timestamp import day_problem

LARGEST = 1_000_000  # of whole numbers


@dataclass(frozen=True)
class Key:
    """One key that may stand in campaign.toml.

    Attributes
    ----------
    section, name : str
        Where it stands; the name ends in its unit.
    kind : type
        str, float or int.
    example : str, float or int
        What a new file holds.
    meaning : str
        The comment above it.
    quantity : Quantity or None
        Of a float: its unit and range.
    least, most : int or None
        Of a whole number.
    day : bool
        A text that is a day, or empty where nobody said.
    choices : tuple of str
        Allowed values, when only some are.
    optional : bool
        A new file shows it as a comment.
    """

    section: str
    name: str
    kind: type
    example: str | float | int
    meaning: str
    quantity: Quantity | None = None
    least: int | None = None
    most: int = LARGEST
    day: bool = False
    choices: tuple[str, ...] = ()
    optional: bool = False

    @property
    def place(self) -> str:
        """How the section is written: [section], or [[section]] for one of many."""
        return f"[[{self.section}]]" if self.section in MANY else f"[{self.section}]"

    def problem(self, value: object) -> str:
        """Say in one line what is wrong with a value, or "" for nothing."""
        if self.quantity is not None:
            return self._says(value, self.quantity.problem(value))
        words = {str: "a text in quotes", int: "a whole number"}
        if isinstance(value, bool) or not isinstance(value, self.kind):
            return self._says(value, f"allowed is {words[self.kind]}")
        if self.choices and value not in self.choices:
            return self._says(value, f"allowed is {' or '.join(self.choices)}")
        if self.day and value:
            return self._says(value, day_problem(value))
        if isinstance(value, int) and not (self.least or 0) <= value <= self.most:
            return self._says(value, f"allowed is {self.least or 0} to {self.most}")
        return ""

    def _says(self, value: object, problem: str) -> str:
        return f"{self.place} {self.name} = {short(value)}: {problem}" if problem else ""


SECTIONS = {
    "campaign": "What this folder is about",
    "requirement": "The load that the part must be proven for",
    "drop": "What holds for a drop unless its command line says otherwise",
    "calibration": "The measuring chain: cell, amplifier and converter as one",
    "board": "How the laptop reaches the board",
    "rig": "Limits of the rig; a plan is held against them",
    "cell": "The load cell, from its data sheet",
    "amplifier": "Amplifier and anti-alias filter",
    "decision": "How verdicts are reached, agreed before the first drop",
    "line": "What springs taut; one section for each line",
    "article": "The parts under test; one section for each",
    "mount": "What holds the article to the rig; one section for each",
    "element": "The load path, from sled to ground; one section for each element",
}
MANY = ("line", "article", "mount", "element")  # sections that may stand there several times
AS_COMMENT = ("element",)  # no example of a strength may be taken for the user's own
BASES = ("proof", "working", "ultimate", "computed")
KEYS = (
    Key("campaign", "name", str, "kite recovery bridle", "Name of the campaign."),
    Key("campaign", "note", str, "", "Remarks for the report."),
    Key(
        "requirement",
        "kind",
        str,
        "limit",
        "limit: no detrimental permanent deformation. ultimate: no rupture.",
        choices=("limit", "ultimate"),
    ),
    Key(
        "requirement",
        "target_n",
        float,
        1800.0,
        "Force that the test must reach; or flight load and factors instead of it.",
        quantity=q.FORCE,
    ),
    Key(
        "requirement",
        "flight_load_n",
        float,
        1200.0,
        "Largest load in flight; times both factors it is the target.",
        quantity=q.FORCE,
        optional=True,
    ),
    Key(
        "requirement",
        "design_factor",
        float,
        1.25,
        "On the flight load.",
        quantity=q.FACTOR,
        optional=True,
    ),
    Key(
        "requirement",
        "test_factor",
        float,
        1.2,
        "On the design load.",
        quantity=q.FACTOR,
        optional=True,
    ),
    Key(
        "requirement",
        "limit_n",
        float,
        1980.0,
        "Force above which the part is overloaded; without it 1.1 x target.",
        quantity=q.FORCE,
        optional=True,
    ),
    Key(
        "requirement",
        "shortest_duration_s",
        float,
        0.02,
        "The pulse must last at least this long, above 10 % of its peak.",
        quantity=q.PULSE,
        optional=True,
    ),
    Key(
        "requirement",
        "longest_duration_s",
        float,
        0.2,
        "And at most this long.",
        quantity=q.PULSE,
        optional=True,
    ),
    Key(
        "requirement",
        "criterion",
        str,
        "no visible crack; eye distance within 0.5 mm of before",
        "What inspection must find for the part to have held.",
    ),
    Key("requirement", "source", str, "load sheet 4, revision B", "Where the load comes from."),
    Key(
        "drop",
        "mass_kg",
        float,
        9.0,
        "All that moves: sled, weights, half the line.",
        quantity=q.MASS,
    ),
    Key("drop", "height_m", float, 1.2, "Free travel until the line is taut.", quantity=q.HEIGHT),
    Key(
        "drop",
        "fittings_kg",
        float,
        0.4,
        "What hangs between the cell and the article.",
        quantity=q.FITTINGS,
        optional=True,
    ),
    Key("drop", "article", str, "bridle-1", "The part under test."),
    Key("drop", "line", str, "polyester 8 mm, 1.5 m", "What springs taut."),
    Key("drop", "operator", str, "", "Who runs the drop."),
    Key("drop", "note", str, "", "Remarks that go with every record."),
    Key(
        "calibration",
        "newton_per_volt",
        float,
        1000.0,
        "Force of one volt at the converter; negative if tension lowers the voltage: good for a "
        "drop only when a calibration with weights shows it too, or a named person accepts it.",
        quantity=q.SLOPE,
    ),
    Key(
        "calibration",
        "expanded_u_fraction",
        float,
        0.04,
        "Expanded relative uncertainty (k = 2) of a force: 0.04 is 4 %.",
        quantity=q.SHARE,
    ),
    Key(
        "calibration",
        "expanded_u_n",
        float,
        0.0,
        "The same in newtons, on top: what does not grow with the force, as non-linearity.",
        quantity=q.LOAD,
    ),
    Key("calibration", "reference_v", float, 3.3, "Converter's full scale.", quantity=q.FULL_SCALE),
    Key("calibration", "converter_bits", int, 12, "Converter's resolution.", least=1, most=16),
    Key("calibration", "rail_low_v", float, 0.05, "Amplifier's lowest output.", quantity=q.VOLT),
    Key("calibration", "rail_high_v", float, 3.2, "Amplifier's highest output.", quantity=q.VOLT),
    Key(
        "calibration",
        "range_n",
        float,
        0.0,
        "Largest known load applied; 0: unknown.",
        quantity=q.LOAD,
    ),
    Key(
        "calibration",
        "bandwidth_hz",
        float,
        0.0,
        "Of amplifier and anti-alias filter, -3 dB; 0: unknown.",
        quantity=q.BANDWIDTH,
    ),
    Key(
        "calibration",
        "newton_per_square_volt",
        float,
        0.0,
        "Curvature: times the square of the voltage above zero_v; 0: a straight line.",
        quantity=q.CURVATURE,
    ),
    Key(
        "calibration",
        "zero_v",
        float,
        0.45,
        "Level with no force, as it was measured.",
        quantity=q.VOLT,
        optional=True,
    ),
    Key(
        "calibration", "good_for_days", int, 365, "Until the next calibration; 0: no end.", least=0
    ),
    Key("calibration", "date", str, "", "Day of the calibration, such as 2026-03-01.", day=True),
    Key("calibration", "note", str, "", "Serial numbers, method, who did it."),
    Key(
        "calibration",
        "accepted",
        str,
        "R. Lead: shunt trimmed by hand",
        "Who accepts a slope that the data sheet does not promise, and why.",
        optional=True,
    ),
    Key("board", "port", str, "", "Serial port or socket://host:port; empty: find the board."),
    Key("board", "link_timeout_s", float, 2.0, "Patience with the board.", quantity=q.PATIENCE),
    Key(
        "rig", "rails_m", float, 2.6, "From the highest latch down to the catch.", quantity=q.LENGTH
    ),
    Key("rig", "margin_m", float, 0.10, "That must be left above the catch.", quantity=q.MARGIN),
    Key(
        "rig",
        "catch_energy_j",
        float,
        300.0,
        "That the catch takes with no line at all.",
        quantity=q.ENERGY,
    ),
    Key(
        "rig",
        "most_mass_kg",
        float,
        25.0,
        "That latch, hoist and rails are made for.",
        quantity=q.MASS,
    ),
    Key(
        "rig",
        "friction_n",
        float,
        3.5,
        "Half of what pulls it up less what lowers it.",
        quantity=q.FRICTION,
    ),
    Key(
        "rig",
        "end_state",
        str,
        "hangs",
        "What a good drop ends with: the sled hangs, or rests on the catch.",
        choices=("hangs", "rests"),
    ),
    Key("cell", "rated_n", float, 5000.0, "Rated load.", quantity=q.FORCE),
    Key(
        "cell", "sensitivity_mv_per_v", float, 2.0, "Output at rated load.", quantity=q.SENSITIVITY
    ),
    Key("cell", "excitation_v", float, 5.0, "Supply of the bridge.", quantity=q.EXCITATION),
    Key("cell", "bridge_ohm", float, 350.0, "Resistance of one arm.", quantity=q.BRIDGE),
    Key(
        "cell",
        "shunt_ohm",
        float,
        87150.0,
        "Resistor that the board's shunt switch lays across one arm; its step is read and "
        "judged before every drop.",
        quantity=q.SHUNT,
        optional=True,
    ),
    Key("cell", "serial", str, "", "Serial number."),
    Key("cell", "certificate", str, "", "Number and class of its certificate."),
    Key("cell", "certificate_date", str, "", "Its day, such as 2026-03-01.", day=True),
    Key(
        "cell",
        "certified_mv_per_v",
        float,
        2.0006,
        "Output at rated load by the certificate; a calibration is held against it.",
        quantity=q.SENSITIVITY,
        optional=True,
    ),
    Key("amplifier", "gain", float, 500.0, "Volts out over volts in.", quantity=q.GAIN),
    Key("amplifier", "zero_v", float, 0.45, "Output without a force.", quantity=q.VOLT),
    Key("amplifier", "serial", str, "", "Serial number."),
    Key(
        "decision",
        "rule",
        str,
        "guarded",
        "guarded: the expanded uncertainty is taken off both ends of the band.",
        choices=("guarded",),
    ),
    Key("decision", "decides", str, "", "Name of the person who decides."),
    Key(
        "decision",
        "checklist",
        str,
        "advised",
        "required: no drop without a fresh `tautlog check`.",
        choices=("advised", "required"),
    ),
    Key(
        "decision",
        "mount_over_article",
        float,
        1.5,
        "Strength of mount over article.",
        quantity=q.FACTOR,
    ),
    Key(
        "decision",
        "proof_factor",
        float,
        1.25,
        "Proof of the mount over the peak.",
        quantity=q.FACTOR,
    ),
    Key("line", "name", str, "polyester 8 mm, 1.5 m", "As in [drop] line."),
    Key(
        "line",
        "stiffness_n_per_m",
        float,
        21000.0,
        "With the rig that it hangs on.",
        quantity=q.STIFFNESS,
    ),
    Key(
        "line",
        "modulus_n",
        float,
        31500.0,
        "EA, instead: over length_m.",
        quantity=q.MODULUS,
        optional=True,
    ),
    Key(
        "line", "length_m", float, 1.5, "Length between its eyes.", quantity=q.LENGTH, optional=True
    ),
    Key("line", "hardening_per_m2", float, 4.0, "b of F = k x (1 + b x2).", quantity=q.HARDENING),
    Key("line", "damping_fraction", float, 0.12, "Of critical, with the sled.", quantity=q.DAMPING),
    Key("line", "drops_before", int, 0, "Drops that are in no record here.", least=0),
    Key(
        "line",
        "retired",
        str,
        "A. Rigger, 2026-03-01: sheath cut",
        "Why it must not be dropped any more; refused from then on.",
        optional=True,
    ),
    Key("article", "name", str, "bridle-1", "As in [drop] article."),
    Key("article", "version", str, "A", "Of its drawing."),
    Key("article", "note", str, "", "Material, serial number, who made it."),
    Key(
        "article",
        "retired",
        str,
        "A. Rigger, 2026-03-01: eye worn",
        "Why it must not be dropped any more; refused from then on.",
        optional=True,
    ),
    Key("mount", "name", str, "beam-1", "Its name."),
    Key(
        "mount",
        "proven_n",
        float,
        0.0,
        "Static pull that proved it, or see `tautlog proof`; 0: none.",
        quantity=q.PROVEN,
    ),
    Key("mount", "proven_on", str, "", "Day of that pull, such as 2026-03-01.", day=True),
    Key("mount", "good_for_drops", int, 10, "Until the next proof.", least=1),
    Key(
        "mount",
        "most_deflection_m",
        float,
        0.002,
        "Of the mount under its proof; more is a mount that gives.",
        quantity=q.DEFLECTION,
        optional=True,
    ),
    Key(
        "mount",
        "stiffness_n_per_m",
        float,
        2.0e6,
        "From the proof pull.",
        quantity=q.STIFFNESS,
        optional=True,
    ),
    Key("element", "name", str, "mount screws", "What it is."),
    Key(
        "element",
        "strength_n",
        float,
        6000.0,
        "Its strength; for screws, bolts and shackles see `tautlog fastener`.",
        quantity=q.STRENGTH,
    ),
    Key(
        "element",
        "basis",
        str,
        "computed",
        "What that number is: a proof load, a working load, an ultimate load, or computed.",
        choices=BASES,
    ),
    Key("element", "factor", float, 2.0, "It is divided by this.", quantity=q.ELEMENT_FACTOR),
    Key("element", "pry", float, 1.0, "Load on it over the force of the line.", quantity=q.PRY),
    Key(
        "element",
        "part",
        str,
        "mount",
        "Whose it is.",
        choices=("sled", "line", "article", "mount", "rig"),
    ),
)
KEY_OF = {(key.section, key.name): key for key in KEYS}
