"""Units: in which units people may type a number, and read it; files stay SI.

Factors come from NIST Special Publication 811 (2008), Appendix B.8. It gives foot, inch, pound
(footnote 22) and pound-force (footnote 23) exactly; foot pound-force and the stiffnesses, which it
rounds to seven digits, follow exactly from these. A mass is never taken for a force: kg and lb are
masses, N and lbf are forces. Kilogram-force and ton are refused, because people mean now a mass
by them and now a force.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from tautlog.errors import QuantityError

FOOT_M = 0.3048  # SP 811 B.8, foot (ft): exact
INCH_M = 0.0254  # SP 811 B.8, inch (in): exact
POUND_KG = 0.45359237  # SP 811 B.8, footnote 22, pound (avoirdupois) (lb): exact
POUND_FORCE_N = 4.4482216152605  # SP 811 B.8, footnote 23, pound-force (lbf): exact
FOOT_POUND_J = 1.3558179483314004  # lbf x ft, exact; SP 811 B.8 has 1.355 818
KILOGRAM_FORCE_N = 9.80665  # SP 811 B.8, kilogram-force (kgf): exact; only to say what it is

# Units beside the SI unit itself, each with its size in that unit.
TYPED: Mapping[str, Mapping[str, float]] = {
    "N": {"kN": 1e3, "MN": 1e6, "lbf": POUND_FORCE_N},
    "m": {"mm": 1e-3, "cm": 1e-2, "ft": FOOT_M, "in": INCH_M},
    "mm": {"cm": 10.0, "m": 1e3, "in": 1e3 * INCH_M},
    "kg": {"g": 1e-3, "lb": POUND_KG},
    "J": {"kJ": 1e3, "ft lbf": FOOT_POUND_J},
    "N/m": {
        "kN/m": 1e3,
        "N/mm": 1e3,
        "kN/mm": 1e6,
        "lbf/in": POUND_FORCE_N / INCH_M,  # SP 811 B.8: 175.1268
        "lbf/ft": POUND_FORCE_N / FOOT_M,  # SP 811 B.8: 14.593 90
    },
    "s": {"ms": 1e-3},
    "Hz": {"kHz": 1e3, "MHz": 1e6},
    "V": {"mV": 1e-3},
    "ohm": {"kohm": 1e3, "Mohm": 1e6},
    "m/s": {"ft/s": FOOT_M},
}
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_TYPED = re.compile(rf"({_NUMBER})(?: ?(\S(?:.*\S)?))?", re.ASCII)
_NO_FINITE = re.compile(r"[+-]?(?:inf|infinity|nan)", re.IGNORECASE)
_GROUPED = re.compile(r"\d[\d.,' _\u00a0\u2009\u202f]*\d", re.ASCII)
_MASSES, _FORCES = ("kg", "g", "lb"), ("N", "kN", "MN", "lbf")
_AMBIGUOUS = {
    "kgf": f"a kilogram-force is {KILOGRAM_FORCE_N} N: write the force in N or kN",
    "t": "a ton may be a mass or a force, and there are several: write kg, or kN",
    "lbs": "write lb for a mass, lbf for a force",
    "k": "a prefix alone is no unit",
}
_SAME = {"kp": "kgf", "kilopond": "kgf", "ton": "t", "tons": "t", "tonne": "t", "tonnes": "t"}
_SAME |= {"lbm": "lbs", "pound": "lbs", "pounds": "lbs", "K": "k", "M": "k"}


def units_of(unit: str) -> Mapping[str, float]:
    """The units that a number of a quantity may have, by its own unit, with their sizes."""
    return {unit: 1.0, **TYPED.get(unit, {})} if unit else {}


def is_bare(text: str) -> bool:
    """Whether a text is a number without a unit."""
    return re.fullmatch(_NUMBER, text.strip(" "), re.ASCII) is not None


def number_typed(text: str, unit: str) -> float:
    """The number that a text states, in the quantity's own unit.

    It is one number in plain digits with a decimal point, alone, which then is in the quantity's
    own unit, or with one of its units. Nothing is guessed.

    Parameters
    ----------
    text : str
        As typed, such as "1800", "6.5 kN" or "4 ft".
    unit : str
        The quantity's own unit, "" if it has none.

    Returns
    -------
    float
        It may be infinite or not a number; the quantity refuses it.

    Raises
    ------
    QuantityError
        Says what is wrong, and how to write it.
    """
    typed = text.strip(" ")
    if _NO_FINITE.fullmatch(typed):
        return float(typed)
    found = _TYPED.fullmatch(typed)
    sizes = units_of(unit)
    if found and (not found[2] or found[2] in sizes):
        return _scaled(found[1], sizes.get(found[2], 1.0))
    raise QuantityError(_why_not(text, found[2] if found else "", unit))


def _scaled(digits: str, size: float) -> float:
    """A number times the size of its unit, rounded once: 48 in are 1.2192 m to the last digit."""
    value = float(digits)
    if size == 1.0 or not 1e-300 < abs(value) < 1e300:
        return value * size
    return float(Decimal(digits) * Decimal(repr(size)))


def why_doubtful(named: str) -> str:
    """Why a unit is not taken that people write, and what to write; "" for any other text."""
    return _AMBIGUOUS.get(_SAME.get(named, named), "")


def _why_not(text: str, named: str, unit: str) -> str:
    shown = repr(text[:40])
    allowed = ", ".join(units_of(unit)) or "none"
    grouped = _GROUPED.match(text.strip())
    if grouped and not re.fullmatch(_NUMBER, grouped[0], re.ASCII):
        return (
            f"{shown} is not a number as it must be written: digits without blanks or commas, "
            "with a decimal point, such as 1450 or 6.5"
        )
    if not named:
        return f"{shown} is not a number; its unit may follow it: {allowed}"
    why = why_doubtful(named)
    if named in _MASSES and unit == "N":
        why = f"{named} is a mass, and a force is wanted"
    elif named in _FORCES and unit == "kg":
        why = f"{named} is a force, and a mass is wanted"
    near = [one for one in units_of(unit) if one.casefold() == named.casefold()]
    if near and not why:
        why = f"did you mean {near[0]}?"
    said = f" ({why})" if why else ""
    return f"{shown}: the unit {named[:20]!r} is not taken here{said}; allowed: {allowed}"
