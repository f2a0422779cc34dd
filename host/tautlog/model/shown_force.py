"""Shown force: a force with so many digits that it never contradicts what is said of it.

A peak of 9000.4 N is above a limit of 9000 N, but whole newtons would show "9000 N, OVERLOAD"
beside a limit of 9000 N. So a shown force, and both ends of its interval, stand on the same side
of every level as the measured ones. Otherwise the uncertainty decides: two significant digits of
it, and the force to the same decimal (GUM, JCGM 100:2008, 7.2.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from tautlog.model.display_units import SI, Unit, Units, decimals

MORE = 15  # decimals that are tried; a double has no more
TIE = Decimal("1e-9")  # of a level; closer than any instrument tells


@dataclass(frozen=True)
class ShownForce:
    """A force as it is shown.

    Attributes
    ----------
    number : str
        The force, without its unit.
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
        """The force with its uncertainty, without the unit."""
        return f"{self.number} +/- {self.spread}" if self.spread else self.number

    @property
    def text(self) -> str:
        """The force with its unit."""
        return f"{self.number} {self.unit}"

    @property
    def around(self) -> str:
        """The uncertainty with its unit, as it follows the force; or ""."""
        return f" +/- {self.spread} {self.unit}" if self.spread else ""

    def level(self, number: int = 0) -> str:
        """A level with its unit."""
        return f"{self.levels[number]} {self.unit}"


def shown_force(
    force_n: float,
    spread_n: float | None = None,
    levels_n: Iterable[float | None] = (),
    units: Units = SI,
) -> ShownForce:
    """Show a force, its uncertainty and the levels that it was held against.

    Parameters
    ----------
    force_n : float
        Of either sign; its magnitude is held against the levels.
    spread_n : float or None
        Expanded uncertainty.
    levels_n : iterable of float or None
        Targets and limits; None is left out.
    units : Units
        Units of display.
    """
    unit = units.of("N")
    force, least = _in(unit, force_n), decimals(unit, 0)
    spread = None if spread_n is None else _in(unit, spread_n)
    levels = [_in(unit, level) for level in levels_n if level is not None]
    first = _of_two_digits(spread, least)
    held = _Held(force, spread, levels, least)
    digits = first if held.far(first) else held.digits(first)
    return ShownForce(
        number=_text(force, digits),
        spread="" if spread is None else _text(spread, digits),
        levels=tuple(_text(level, max(digits, least)) for level in levels),
        unit=unit.name,
    )


def _in(unit: Unit, force_n: float) -> Decimal:
    """A force in a unit, of the number as it is written: 0.1 is a tenth."""
    return Decimal(repr(float(force_n))) / Decimal(repr(unit.size))


def _of_two_digits(spread: Decimal | None, least: int) -> int:
    """Decimals of two significant digits of an uncertainty; negative for tens and more."""
    if not spread or not math.isfinite(spread):
        return least
    return 1 - Decimal(f"{spread:.1e}").adjusted()  # rounded first: 9.96 is 10


class _Held(NamedTuple):
    """A force with its uncertainty, and what it is held against, in one unit."""

    force: Decimal
    spread: Decimal | None
    levels: list[Decimal]
    least: int

    def far(self, digits: int) -> bool:
        """Whether no end is so near to a level that rounding could matter; quick to tell."""
        force, step = abs(float(self.force)), 2.0 * 10.0 ** -min(digits, self.least)
        spread = float(self.spread or 0.0)
        return all(
            abs(force + end - float(level)) > step
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
        """Whether force and interval stand to each level as shown as they do in truth."""
        force, spread = abs(self.force), self.spread
        real = _ends(force, spread)
        seen = _ends(_rounded(force, digits), None if spread is None else _rounded(spread, digits))
        for level in self.levels:
            shown = _rounded(level, max(digits, self.least))
            for true_end, seen_end in zip(real, seen, strict=True):
                side = _side(true_end, level, TIE * abs(level))
                if (side or ties) and side != _side(seen_end, shown):
                    return False
        return True


def _side(force: Decimal, level: Decimal, tie: Decimal = Decimal(0)) -> int:
    """1 above a level, -1 below, 0 at it."""
    return 0 if abs(force - level) <= tie else 1 if force > level else -1


def _ends(force: Decimal, spread: Decimal | None) -> tuple[Decimal, ...]:
    return (force,) if spread is None else (force - spread, force, force + spread)


def _rounded(value: Decimal, digits: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-digits)) if value.is_finite() else value


def _text(value: Decimal, digits: int) -> str:
    return f"{_rounded(value, digits) + 0:f}"
