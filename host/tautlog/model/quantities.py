"""Quantities: every number that comes in, with its unit and its plausible range.

Options, campaign.toml, forms and the files of a campaign all ask here, so that no absurd number is
accepted; what people type may bear a unit, see `Quantity.typed`. A range is wide: it holds what a
hand-built rig and its parts can be, and shuts out infinity, not-a-number and the usual unit
mistakes. Bounds are own choices from common practice; `basis` names the practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import QuantityError
from tautlog.model.units import number_typed


@dataclass(frozen=True)
class Quantity:
    """One kind of number.

    Attributes
    ----------
    name, unit : str
        Its name and unit; unit "" for a fraction or a factor.
    lowest, highest : float
        Bounds of the range, both included.
    basis : str
        Reason for the bounds, in words.
    slips : tuple of (str, float)
        Units that people type by mistake, each with its size in `unit`.
    zero : bool
        0 is allowed, too, for none or unknown.
    either_sign : bool
        The bounds hold for the magnitude.
    """

    name: str
    unit: str
    lowest: float
    highest: float
    basis: str
    slips: tuple[tuple[str, float], ...] = ()
    zero: bool = False
    either_sign: bool = False

    @property
    def range(self) -> str:
        """The range in words."""
        unit = f" {self.unit}" if self.unit else ""
        zero = "0, or " if self.zero else ""
        sign = ", of either sign" if self.either_sign else ""
        return f"{zero}{self.lowest:g} to {self.highest:g}{unit}{sign}"

    def problem(self, value: object) -> str:
        """Say what is allowed and what may have been meant; "" if the value is allowed."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return f"allowed is a number, {self.range}"
        # A whole number may be too long for a float; it is out of every range.
        size = abs(value) if self.either_sign else value
        if self.lowest <= size <= self.highest or (self.zero and value == 0):
            return ""
        return f"allowed is {self.range} ({self.basis}){self._hint(size)}"

    def require(self, name: str, value: float) -> float:
        """Return the value as a float if it is in range.

        Raises
        ------
        QuantityError
            Gives name, value, range, and what may have been meant.
        """
        problem = self.problem(value)
        if problem:
            raise QuantityError(f"{name} = {_shortened(value)}: {problem}")
        return float(value)

    def typed(self, text: str) -> float:
        """Return the value that a person typed, with a unit or in the quantity's own unit.

        Raises
        ------
        QuantityError
            If it is not one number with a unit of this quantity, or out of range.
        """
        value = number_typed(text, self.unit)
        problem = self.problem(value)
        if problem:
            raise QuantityError(f"{text.strip()[:40]}: {problem}")
        return value

    def _hint(self, size: float) -> str:
        if not math.isfinite(size) if isinstance(size, float) else size > 1e300:
            return ""
        for unit, factor in self.slips:
            meant = size * factor
            if self.lowest <= meant <= self.highest and meant > 0:
                return f"; is it in {unit}? {size:g} {unit} are {meant:g} {self.unit}".rstrip()
        return ""


def _shortened(value: object) -> str:
    text = f"{value:g}" if isinstance(value, float) else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


_MM = (("mm", 1e-3), ("cm", 1e-2))
_G = (("g", 1e-3),)
_KN = (("kN", 1e3), ("mN", 1e-3))
_MS = (("ms", 1e-3), ("us", 1e-6))

MASS = Quantity("mass", "kg", 0.05, 500.0, "what a hand-built rig lifts", _G)
FITTINGS = Quantity("mass of fittings", "kg", 0.0, 100.0, "shackles and links", _G)
WEIGHT = Quantity("weight", "kg", 0.0, 500.0, "weights that people hang", _G)
HEIGHT = Quantity("height", "m", 0.0, 10.0, "rails that people build", _MM)
LENGTH = Quantity("length", "m", 0.01, 100.0, "lines and rails", _MM)
STROKE = Quantity("stroke", "m", 0.001, 5.0, "of catches", _MM)
MARGIN = Quantity("margin", "m", 0.0, 5.0, "of rails", _MM)
DEFLECTION = Quantity("deflection", "m", 1e-6, 0.5, "of a mount under its proof", _MM)
SET = Quantity("permanent set", "m", 0.0, 0.5, "of a mount after its proof", _MM)
DEFLECTION_MM = Quantity("deflection", "mm", 1e-3, 500.0, DEFLECTION.basis, (("um", 1e-3),))
SET_MM = Quantity("permanent set", "mm", 0.0, 500.0, SET.basis, (("um", 1e-3),))
DIAL_MM = Quantity("gauge reading", "mm", 0.0, 1000.0, "of dial gauges", either_sign=True)
FORCE = Quantity("force", "N", 10.0, 1e6, "10 N is a kilogram, 1 MN a heavy press", _KN)
PULL = Quantity("proof pull", "N", 10.0, 2e5, "what people pull with hoist and lever", _KN)
FRICTION = Quantity("friction", "N", 0.0, 2000.0, "of rails and a sled", (("mN", 1e-3),))
STRENGTH = Quantity("strength", "N", 1.0, 1e7, "of screws, shackles and lines", _KN)
LOAD = Quantity("known load", "N", 0.0, 1e6, "of weights or a press", (("mN", 1e-3),))
STIFFNESS = Quantity(
    "stiffness", "N/m", 10.0, 1e10, "rubber to a steel beam", (("N/mm", 1e3), ("kN/mm", 1e6))
)
MODULUS = Quantity("EA", "N", 10.0, 1e9, "rubber to a steel rope", (("kN", 1e3),))
HARDENING = Quantity("hardening", "1/m2", 0.0, 1e6, "of lines", (("1/mm2", 1e6),))
DAMPING = Quantity("damping", "", 0.0, 0.9, "a share of critical", (("%", 0.01),))
ENERGY = Quantity("energy", "J", 0.1, 1e6, "of a sled and its catch", (("kJ", 1e3), ("mJ", 1e-3)))
HELD = Quantity("time held", "s", 0.1, 7200.0, "a pull is held for minutes", _MS)
PULSE = Quantity("duration", "s", 1e-4, 10.0, "of a pull", _MS)
PATIENCE = Quantity("waiting time", "s", 0.01, 3600.0, "of a laptop for a board", _MS)
RATE = Quantity(
    "sample rate", "Hz", 10.0, 1e8, "of recorders", (("kHz", 1e3), ("MHz", 1e6), ("mHz", 1e-3))
)
BANDWIDTH = Quantity(
    "bandwidth", "Hz", 0.1, 1e8, "of amplifiers", (("kHz", 1e3), ("mHz", 1e-3)), zero=True
)
VOLT = Quantity("voltage", "V", 0.0, 100.0, "of amplifiers and converters", (("mV", 1e-3),))
FULL_SCALE = Quantity("full scale", "V", 0.1, 100.0, "of converters", (("mV", 1e-3),))
EXCITATION = Quantity("excitation", "V", 0.5, 30.0, "of strain-gauge bridges", (("mV", 1e-3),))
SENSITIVITY = Quantity(
    "sensitivity", "mV/V", 0.01, 100.0, "of strain-gauge and semiconductor cells"
)
BRIDGE = Quantity("bridge", "ohm", 30.0, 20_000.0, "of strain gauges", (("kohm", 1e3),))
SHUNT = Quantity("shunt", "ohm", 100.0, 1e8, "of shunt resistors", (("kohm", 1e3), ("Mohm", 1e6)))
GAIN = Quantity("gain", "", 0.5, 1e5, "of amplifiers")
SLOPE = Quantity("calibration factor", "N/V", 1e-2, 1e8, "of cell and amplifier", either_sign=True)
CURVATURE = Quantity("curvature", "N/V2", 0.0, 1e8, "of a calibration", either_sign=True)
ACCELERATION = Quantity(
    "acceleration", "m/s2", 1.0, 1e6, "of accelerometers", (("g", 9.80665),), zero=True
)
ACCELERATION_SLOPE = Quantity(
    "sensitivity",
    "V/(m/s2)",
    1e-6,
    10.0,
    "of accelerometers with their amplifier",
    (("mV/(m/s2)", 1e-3),),
    either_sign=True,
)
DIVIDER = Quantity("divider", "", 0.1, 100.0, "1 is no divider")
SHARE = Quantity("share", "", 0.0, 1.0, "1 is the whole", (("%", 0.01),))
FACTOR = Quantity("factor", "", 1.0, 100.0, "1 takes nothing off")
ELEMENT_FACTOR = Quantity("factor", "", 1.0, 20.0, "1 takes nothing off")
PRY = Quantity("prying", "", 0.01, 10.0, "load on the part over that of the line")
DIAMETER_MM = Quantity("diameter", "mm", 1.0, 100.0, "of screws and pins", (("m", 1e3),))
THREAD_MM = Quantity("thread", "mm", 1.0, 1000.0, "in the wood", (("m", 1e3), ("cm", 10.0)))
WOOD = Quantity("specific gravity", "", 0.1, 1.3, "of woods", (("kg/m3", 1e-3),))
DENSITY = Quantity("density", "kg/m3", 100.0, 1300.0, "of woods", (("g/cm3", 1e3),))
GRAVITY = Quantity("gravity", "m/s2", 9.76, 9.84, "on the ground, equator to pole")
SPEED = Quantity("speed", "m/s", 0.01, 500.0, "of a canopy against its load")
DIMENSION_MM = Quantity("dimension", "mm", 0.01, 20_000.0, "of articles", (("m", 1e3),))
DIMENSION_U_MM = Quantity("uncertainty", "mm", 1e-4, 20.0, "of callipers", (("um", 1e-3),))
GROWTH_MM = Quantity("growth", "mm", 1e-3, 500.0, "of articles", (("um", 1e-3),))
FALL_FACTOR = Quantity("fall factor", "", 0.05, 2.0, "height over length of rope; 2 is the most")
STEP = Quantity("step", "", 0.01, 1.5, "a share of the load of a ladder", (("%", 0.01),))
DRAG_AREA = Quantity("drag area", "m2", 1e-3, 1e4, "of canopies")
OPENING_FACTOR = Quantity("opening factor", "", 1.0, 3.0, "of canopies, by their type")
FILLING = Quantity("filling time", "s", 1e-3, 60.0, "of canopies", _MS)
CANOPY = Quantity("mass", "kg", 1e-3, 50_000.0, "of a body or canopy in flight", _G)
PROVEN = Quantity("proof pull", "N", PULL.lowest, PULL.highest, PULL.basis, _KN, zero=True)
FILM = Quantity("time in a film", "s", 0.0, 86_400.0, "of a camera", _MS)
COUNTDOWN = Quantity("countdown", "s", 0.0, 600.0, "what a crew waits", _MS)
RECORDING = Quantity("recording", "s", 1.0, 55.0, "what a board keeps and a crew waits", _MS)
PATIENCE_FACTOR = Quantity("factor on waiting", "", 0.1, 1000.0, "1 is a real board")
REHEARSAL_SPEED = Quantity("speed", "", 0.2, 20.0, "times as fast as a real drop")
SEARCHED = Quantity("force", "N", 0.0, 1e9, "searched for")
STRETCH = Quantity("stretch", "m", 1e-4, 10.0, "of a line", _MM)
RAMP = Quantity("ramp", "s", 0.1, 60.0, "slower ones drift, faster ones lag", _MS)
SETTLING = Quantity("settling", "s", 0.01, 10.0, "12 times R x C and more", _MS)
RAMP_OHM = Quantity("resistor", "ohm", 1e3, 1e5, "between a pin and a converter", (("kohm", 1e3),))
PLATE_MM = Quantity("plate", "mm", 0.5, 100.0, "of steel that people drill", (("m", 1e3),))
SPACING_MM = Quantity("distance", "mm", 2.0, 2000.0, "of holes", (("m", 1e3), ("cm", 10.0)))
TENSILE_MPA = Quantity("tensile strength", "MPa", 50.0, 2000.0, "of metals", (("GPa", 1e3),))
ANGLE_DEG = Quantity("angle", "degrees", 0.0, 90.0, "between a load and the wood")
LEG_DEG = Quantity("angle", "degrees", 0.0, 85.0, "of a leg to the vertical")
AZIMUTH_DEG = Quantity("azimuth", "degrees", -360.0, 360.0, "of a leg, seen from above")
ANGLE_U_DEG = Quantity("uncertainty", "degrees", 0.05, 20.0, "of a leg's angle as people read it")
TEMPERATURE = Quantity("temperature", "degC", -60.0, 90.0, "in which people drop")
HUMIDITY = Quantity("relative humidity", "%", 0.0, 100.0, "of air")
HOURS = Quantity("time", "h", 0.0, 10_000.0, "since conditioning")
RELIABILITY = Quantity("reliability", "", 0.5, 0.9999, "a share of all parts", (("%", 0.01),))
CONFIDENCE = Quantity("confidence", "", 0.5, 0.9999, "of a statement", (("%", 0.01),))
DAYS = Quantity("time", "days", 1.0, 10_000.0, "that lines are kept", (("years", 365.25),))
