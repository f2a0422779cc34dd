"""Display units: in which units people read forces, lengths, energies and masses.

Only what is shown is converted, at the moment when it becomes text. Files, JSON, CSV and what a
record keeps stay SI. Sizes are those of `tautlog.model.units`, after NIST SP 811.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from tautlog.errors import QuantityError
from tautlog.model.units import FOOT_M, INCH_M, units_of, why_doubtful

# What may be chosen, by the field of `Units`; the first is SI.
CHOICES: Mapping[str, tuple[str, ...]] = {
    "force": ("N", "kN", "lbf"),
    "length": ("m", "mm", "ft", "in"),
    "energy": ("J", "ft lbf"),
    "mass": ("kg", "lb"),
}
FORM = "write units with commas between, such as lbf,ft"
MOST_DECIMALS = 15  # a double has no more
SOURCE = "NIST SP 811 (2008), appendix B.8"
_OWN = {"force": "N", "length": "m", "energy": "J", "mass": "kg"}


class Unit(NamedTuple):
    """A unit and its size in the SI unit that it stands for."""

    name: str
    size: float


@dataclass(frozen=True)
class Units:
    """The chosen units; those of SI by default.

    Attributes
    ----------
    force, length, energy, mass : str
        One of `CHOICES` each.

    Raises
    ------
    QuantityError
        If a unit is not known; says which are.
    """

    force: str = "N"
    length: str = "m"
    energy: str = "J"
    mass: str = "kg"

    def __post_init__(self) -> None:
        for kind, known in CHOICES.items():
            chosen = getattr(self, kind)
            if chosen not in known:
                raise QuantityError(
                    f"{kind} = {str(chosen)[:20]!r}: not a unit that is shown; "
                    f"known for {kind}: {', '.join(known)}"
                )

    @property
    def are_si(self) -> bool:
        """Whether nothing is converted."""
        return self == SI

    def of(self, si: str) -> Unit:
        """The unit in which a value is shown, by the unit in which the program has it.

        Parameters
        ----------
        si : str
            Such as "N", "m", "mm" for small lengths, "J", "kg", "N/m" or "N s". A unit of another
            kind stays as it is.
        """
        made = _MADE.get(si)
        return Unit(si, 1.0) if made is None or self.are_si else made(self)

    def number(self, value: float, si: str, form: str = ".0f") -> str:
        """A number in the chosen unit, without it.

        Parameters
        ----------
        value : float
            In the unit `si`.
        si : str
            As for `of`.
        form : str
            Format of the value in `si`. Fixed decimals are adapted, so that the last digit is
            never coarser than there; significant digits stay.
        """
        unit = self.of(si)
        if form == "g" and unit.size != 1.0:
            form = ".4g"  # a round number in SI has no end in another unit
        if form.endswith("f"):
            form = f"z.{decimals(unit, int(form[1:-1]))}f"
        return format(value / unit.size, form)

    def text(self, value: float, si: str, form: str = ".0f") -> str:
        """A number with its unit, as `number`."""
        return f"{self.number(value, si, form)} {self.of(si).name}"

    def told(self, value: float | None, si: str, form: str = ".0f") -> str:
        """As `text`; "-" for None."""
        return "-" if value is None else self.text(value, si, form)

    def band(self, low: float, high: float, si: str, form: str = ".0f") -> str:
        """Two numbers with "to" between them and their unit."""
        return f"{self.number(low, si, form)} to {self.text(high, si, form)}"

    def inner_band(self, low: float, high: float, si: str) -> str:
        """A band that proves something: rounded inwards, with more digits where it is narrow."""
        unit = self.of(si)
        for digits in range(decimals(unit, 0), MOST_DECIMALS):
            step = 10.0**-digits
            first, last = math.ceil(low / unit.size / step), math.floor(high / unit.size / step)
            if first <= last:
                return f"{first * step:.{digits}f} to {last * step:.{digits}f} {unit.name}"
        return self.band(low, high, si)

    def label(self, text: str) -> str:
        """A label that ends with its unit, such as "peak force, N", in the chosen unit."""
        head, comma, si = text.rpartition(", ")
        return f"{head}{comma}{self.of(si).name}" if comma else text

    def heading(self, key: str) -> str:
        """The name of a column by the key of its SI numbers: "peak, lbf" for "peak_n"."""
        si = si_of(key)
        head = key.removesuffix(_SUFFIXES.get(si, "")).replace("_", " ")
        return f"{head}, {self.of(si).name}" if si else head

    @property
    def key(self) -> str:
        """All of them between commas, as `units_named` reads them."""
        return ",".join(getattr(self, kind) for kind in CHOICES)

    @property
    def explained(self) -> str:
        """Which units a paper shows, with each factor and its source; "" for SI."""
        if self.are_si:
            return ""
        return (
            f"Numbers are shown in {', '.join(self.named)}: {'; '.join(self.factors)}. Records, "
            "and the sentences that they keep, are in SI; a calibration's slope stays in N/V."
        )

    @property
    def named(self) -> tuple[str, ...]:
        """The units that are not SI."""
        return tuple(
            getattr(self, kind) for kind, own in _OWN.items() if getattr(self, kind) != own
        )

    @property
    def factors(self) -> tuple[str, ...]:
        """Each unit that is not SI, with its size and the source of it; once in a report."""
        chosen = [
            (getattr(self, kind), own) for kind, own in _OWN.items() if getattr(self, kind) != own
        ]
        return tuple(
            f"1 {name} = {units_of(own)[name]:.15g} {own} ({_basis(name)})" for name, own in chosen
        )


def decimals(unit: Unit, of_si: int) -> int:
    """Fewest decimals whose last digit is not coarser than a number of decimals of the SI unit."""
    return max(math.ceil(of_si + math.log10(unit.size) - 1e-9), 0)


def _basis(name: str) -> str:
    if name in ("kN", "mm"):
        return "SI prefix, exact"
    # The table rounds it to 1.355 818.
    return f"lbf times ft of {SOURCE}" if name == "ft lbf" else f"{SOURCE}, exact"


def _stiffness(units: Units) -> Unit:
    """Force over length, as far as people write it so; a foot for pounds over metres."""
    if units.force == "lbf":
        name = "lbf/in" if units.length == "in" else "lbf/ft"
    else:
        name = f"{units.force}/{'mm' if units.length == 'mm' else 'm'}"
    return Unit(name, units_of("N/m")[name])


def _small(units: Units) -> Unit:
    """Small lengths, which SI shows in millimetres."""
    return Unit("in", 1e3 * INCH_M) if units.length in ("ft", "in") else Unit("mm", 1.0)


def _speed(units: Units) -> Unit:
    return Unit("ft/s", FOOT_M) if units.length in ("ft", "in") else Unit("m/s", 1.0)


def _kilo_stiffness(units: Units) -> Unit:
    name, size = _stiffness(units)
    return Unit("kN/m", 1.0) if name == "N/m" else Unit(name, 1e-3 * size)


def _named(unit: Unit, old: str, new: str) -> Unit:
    """The same unit under the name that SI has here."""
    return Unit(new, unit.size) if unit.name == old else unit


def _kilo_rate(units: Units) -> Unit:
    name, size = _force(units)
    return Unit("kN/s", 1.0) if name != "lbf" else Unit("lbf/s", 1e-3 * size)


def _force(units: Units) -> Unit:
    return Unit(units.force, units_of("N")[units.force])


_MADE = {
    "N": _force,
    "m": lambda units: Unit(units.length, units_of("m")[units.length]),
    "mm": _small,
    "J": lambda units: Unit(units.energy, units_of("J")[units.energy]),
    "kg": lambda units: Unit(units.mass, units_of("kg")[units.mass]),
    "N/m": _stiffness,
    "kN/m": _kilo_stiffness,
    "N/mm": lambda units: _named(_kilo_stiffness(units), "kN/m", "N/mm"),
    "kN/s": _kilo_rate,
    "N s": lambda units: Unit(f"{units.force} s", _force(units).size),
    "N/s": lambda units: Unit(f"{units.force}/s", _force(units).size),
    "N rms": lambda units: Unit(f"{units.force} rms", _force(units).size),
    "m/s": _speed,
}
_SUFFIXES = {
    "N/m": "_n_per_m",
    "N/s": "_n_per_s",
    "m/s": "_m_s",
    "N s": "_ns",
    "N": "_n",
    "m": "_m",
    "J": "_j",
    "kg": "_kg",
}
SI = Units()


def si_of(key: str) -> str:
    """The SI unit that the name of a figure ends in, such as "N" for "peak_force_n"; or ""."""
    return next((si for si, suffix in _SUFFIXES.items() if key.endswith(suffix)), "")


def units_named(words: Iterable[str], given: Units = SI) -> Units:
    """The units that some words name, such as "lbf" and "ft"; what they do not name stays.

    Raises
    ------
    QuantityError
        If a word is not known, two name units of one kind, or lb stands without a unit of force,
        which people call pound as well.
    """
    found: dict[str, str] = {}
    for word in (each.strip() for each in words):
        kind = next((kind for kind, known in CHOICES.items() if word in known), None)
        if kind is None:
            raise QuantityError(_no_unit(word))
        if kind in found:
            both = "twice" if found[kind] == word else f"beside {word}"
            raise QuantityError(f"{found[kind]} is named {both}: give one unit of {kind}; {FORM}")
        found[kind] = word
    if found.get("mass") == "lb" and "force" not in found:
        raise QuantityError(
            "lb is a unit of mass, and no unit of force is named beside it: write lbf,lb to see "
            "both in pounds, or N,lb"
        )
    return replace(given, **found)


def _no_unit(word: str) -> str:
    """Why a word names no unit that is shown, and how to write one."""
    every = [name for names in CHOICES.values() for name in names]
    near = next((name for name in every if name.casefold() == word.casefold()), "")
    why = why_doubtful(word) or (near and f"did you mean {near}?")
    known = "; ".join(f"{kind} {', '.join(names)}" for kind, names in CHOICES.items())
    said = f" ({why})" if why else ""
    return f"{word[:20]!r} is no unit that is shown{said}; {FORM}; known: {known}"
