"""Code counts: how often each code of a converter came, under ramps and at constant levels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

CountArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Wiring:
    """Where the ramp came from, and what read it.

    Attributes
    ----------
    ramp_pin, channel_pin : int
        GPIO numbers of the pin that gave it and of the converter's channel.
    resistor_ohm : float
        Resistor between them.
    """

    ramp_pin: int = 9
    channel_pin: int = 28
    resistor_ohm: float = 10_000.0


@dataclass(frozen=True)
class HeldLevel:
    """Codes at a constant level.

    Attributes
    ----------
    level : float
        The level that was set, in steps, before gain and offset of the way to the converter.
    counts : ndarray of int64, shape (2**bits,)
        How often each code came.
    forced : bool or None
        The board's regulator was kept from saving power; None where it has no such pin.
    slow : bool
        Conversions came many times more slowly than in use, and so hardly loaded the level.
    """

    level: float
    counts: CountArray
    forced: bool | None
    slow: bool = False


@dataclass(frozen=True)
class CodeCounts:
    """What one code-density test counted.

    Attributes
    ----------
    chip, machine, serial : str
        The chip; the board, as MicroPython calls it; its unique number.
    conversion_rate_hz : float
        Conversions a second.
    ramp_s : float
        Length of one ramp.
    wiring : Wiring
        Pins and resistor.
    ramps : ndarray of int64, shape (n_ramps, 2**bits)
        How often each code came under each ramp.
    rising : tuple of bool
        Of each ramp, whether it rose.
    held : tuple of HeldLevel
        The same at constant levels.
    errors : int
        Conversions that did not settle, by the converter's own word; they are not counted.
    """

    chip: str
    machine: str
    serial: str
    conversion_rate_hz: float
    ramp_s: float
    wiring: Wiring
    ramps: CountArray
    rising: tuple[bool, ...]
    held: tuple[HeldLevel, ...]
    errors: int = 0

    @property
    def bits(self) -> int:
        """Resolution of one conversion."""
        return int(self.ramps.shape[1]).bit_length() - 1
