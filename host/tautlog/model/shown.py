"""Shown: a value beside its limits, with so many digits that it never contradicts its verdict.

A way of 2.6004 m is refused by rails of 2.6 m, but millimetres would show "2.600 m of 2.600 m,
REFUSE". So a shown value, and both ends of its interval, stand on the same side of every level as
the true ones, in every unit. Otherwise the uncertainty decides: two significant digits of it, and
the value to the same decimal (GUM, JCGM 100:2008, 7.2.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Context, Decimal
from typing import NamedTuple

from tautlog.model.display_units import SI, Unit, Units, decimals

MORE = 15  # decimals that are tried; a double has no more
TIE = Decimal("1e-9")  # of a level; closer than any instrument tells
_EXACT = Context(prec=400)  # for any double with MORE decimals


@dataclass(frozen=True)
class Shown:
    """A value as it is shown, beside what it was held against.

    Attributes
    ----------
    number : str
        The value, without its unit.
    spread : str
        Its expanded uncertainty, or "".
    levels : tuple of str
        Each level that it was held against.
    unit : str
        The unit of them all.
    """

    number: str
    spread: str
    levels: tuple[str, ...]
    unit: str

    @property
    def interval(self) -> str:
        """The value with its uncertainty, without the unit."""
        return f"{self.number} +/- {self.spread}" if self.spread else self.number

    @property
    def interval_text(self) -> str:
        """The value with its uncertainty and its unit."""
        return f"{self.interval}{self._unit}"

    @property
    def signed_interval_text(self) -> str:
        """As `interval_text`, with a plus where the value is positive."""
        return self._plus + self.interval_text

    @property
    def text(self) -> str:
        """The value with its unit."""
        return f"{self.number}{self._unit}"

    @property
    def signed(self) -> str:
        """As `text`, with a plus where it is positive."""
        return self._plus + self.text

    @property
    def around(self) -> str:
        """The uncertainty with its unit, as it follows the value; or ""."""
        return f" +/- {self.spread}{self._unit}" if self.spread else ""

    def level(self, number: int = 0) -> str:
        """A level with its unit."""
        return f"{self.levels[number]}{self._unit}"

    @property
    def _plus(self) -> str:
        return "+" if self.number.strip("-0.") and not self.number.startswith("-") else ""

    @property
    def _unit(self) -> str:
        return f" {self.unit}" if self.unit else ""


def shown(
    value: float,
    si: str,
    levels: Iterable[float | None] = (),
    units: Units = SI,
    *,
    least: int = 0,
    spread: float | None = None,
) -> Shown:
    """Show a value, its uncertainty and the levels that it was held against.

    Parameters
    ----------
    value : float
        Of either sign; its magnitude is held against the levels.
    si : str
        The unit in which it is given, see `Units.of`; such as "N", "m", "%", or "" for a ratio.
    levels : iterable of float or None
        Targets and limits in the same unit; None is left out.
    units : Units
        Units of display.
    least : int
        Fewest decimals in the given unit, if no uncertainty decides; no coarser in another.
    spread : float or None
        Expanded uncertainty.
    """
    unit = units.of(si)
    own, least = _in(unit, value), decimals(unit, least)
    around = None if spread is None else _in(unit, spread)
    held_against = [_in(unit, level) for level in levels if level is not None]
    first = _of_two_digits(around, least)
    held = _Held(own, around, held_against, least)
    digits = first if held.far(first) or not held.finite else held.digits(first)
    return Shown(
        number=_text(own, digits),
        spread="" if around is None else _text(around, digits),
        levels=tuple(_text(level, max(digits, least)) for level in held_against),
        unit=unit.name,
    )


def shown_force(
    force_n: float,
    spread_n: float | None = None,
    levels_n: Iterable[float | None] = (),
    units: Units = SI,
) -> Shown:
    """As `shown`, for a force with its uncertainty; in whole newtons if none is given."""
    return shown(force_n, "N", levels_n, units, spread=spread_n)


def _in(unit: Unit, value: float) -> Decimal:
    """A value in a unit, of the number as it is written: 0.1 is a tenth."""
    return Decimal(repr(float(value))) / Decimal(repr(unit.size))


def _of_two_digits(spread: Decimal | None, least: int) -> int:
    """Decimals of two significant digits of an uncertainty; negative for tens and more."""
    if not spread or not math.isfinite(spread):
        return least
    return 1 - Decimal(f"{spread:.1e}").adjusted()  # rounded first: 9.96 is 10


class _Held(NamedTuple):
    """A value with its uncertainty, and what it is held against, in one unit."""

    value: Decimal
    spread: Decimal | None
    levels: list[Decimal]
    least: int

    @property
    def finite(self) -> bool:
        """Whether all are numbers that have digits."""
        return all(one.is_finite() for one in (self.value, self.spread or self.value, *self.levels))

    def far(self, digits: int) -> bool:
        """Whether no end is so near to a level that rounding could matter; quick to tell."""
        value, step = abs(float(self.value)), 2.0 * 10.0 ** -min(digits, self.least)
        spread = float(self.spread or 0.0)
        return all(
            abs(value + end - float(level)) > step
            for level in self.levels
            for end in (-spread, 0.0, spread)
        )

    def digits(self, first: int) -> int:
        """Fewest decimals with which all stand as they do in truth."""
        tried = range(first, max(first, 0) + MORE)
        return next(
            (n for n in tried if self.stands(n, ties=True)),
            # In pounds a tie has no last digit.
            next((n for n in tried if self.stands(n, ties=False)), first),
        )

    def stands(self, digits: int, *, ties: bool) -> bool:
        """Whether value and interval stand to each level as shown as they do in truth."""
        value, spread = abs(self.value), self.spread
        real = _ends(value, spread)
        seen = _ends(_rounded(value, digits), None if spread is None else _rounded(spread, digits))
        for level in self.levels:
            shown = _rounded(level, max(digits, self.least))
            for true_end, seen_end in zip(real, seen, strict=True):
                side = _side(true_end, level, TIE * abs(level))
                if (side or ties) and side != _side(seen_end, shown):
                    return False
        return True


def _side(value: Decimal, level: Decimal, tie: Decimal = Decimal(0)) -> int:
    """1 above a level, -1 below, 0 at it."""
    return 0 if abs(value - level) <= tie else 1 if value > level else -1


def _ends(value: Decimal, spread: Decimal | None) -> tuple[Decimal, ...]:
    return (value,) if spread is None else (value - spread, value, value + spread)


def _rounded(value: Decimal, digits: int) -> Decimal:
    if not value.is_finite():
        return value
    return value.quantize(Decimal(1).scaleb(-digits), context=_EXACT)


def _text(value: Decimal, digits: int) -> str:
    return f"{_rounded(value, digits) + 0:f}"
