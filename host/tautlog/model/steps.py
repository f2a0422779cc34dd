"""Steps: what is known of a converter's steps, and what that leaves unknown of a force."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tautlog.model.linearity import Linearity, linearity_in, published_linearity

EVEN = "even"  # of a separate converter: within half a step, by its data sheet
RECTANGULAR = math.sqrt(3.0)  # half-width over standard uncertainty, GUM 4.3.7
CHIPS = ("RP2040", "RP2350")
CHIP_BITS = 12  # of their own converters


@dataclass(frozen=True)
class Steps:
    """The steps of one converter.

    Attributes
    ----------
    linearity : Linearity or None
        What readings are corrected by; None: nothing is corrected.
    level_u_steps : float
        Standard uncertainty of any level, in steps, where nothing is corrected.
    basis : str
        Where this comes from, in words.
    """

    linearity: Linearity | None
    level_u_steps: float
    basis: str

    def u_steps(self, *levels: float) -> float:
        """Standard uncertainty of the difference of two levels, or of the worst of several."""
        if self.linearity is None:
            return math.sqrt(2.0) * self.level_u_steps
        found = sorted((self.linearity.u_at(level) for level in levels), reverse=True)
        return math.hypot(*(found[:2] or (self.linearity.u_steps,) * 2))

    def between(self, low: float, high: float) -> tuple[int, ...]:
        """Wide codes between two levels, in steps; none if the steps are not known."""
        if self.linearity is None:
            return ()
        return tuple(code for code in self.linearity.wide_codes if low - 1.0 < code < high + 1.0)


def chip_in(board: str) -> str:
    """The chip in a board's greeting, one of `CHIPS`, or ""."""
    return next((chip for chip in CHIPS if chip in board), "")


@lru_cache(maxsize=16)
def steps_of(converter: str, bits: int) -> Steps:
    """The steps that a calibration's `converter` names.

    Raises
    ------
    ValueError
        If it is no table, or of another resolution.
    """
    if converter == EVEN:
        return Steps(None, 0.5 / RECTANGULAR, "equal steps, within half a step")
    if not converter:
        return _unknown(bits)
    linearity = published_linearity(converter) if converter in CHIPS else linearity_in(converter)
    if linearity is None or linearity.bits != bits:
        raise ValueError(
            f"converter = {converter[:20]!r} is not the table of a converter of {bits} bits"
        )
    basis = f"corrected by the {linearity.source}; {linearity.u_steps:.2g} steps of each level"
    return Steps(linearity, linearity.u_steps, basis)


def _unknown(bits: int) -> Steps:
    """Not known: it may be an RP2040's, the worst of the two chips; more bits are another's."""
    if bits > 12:
        return Steps(None, 2.0 / RECTANGULAR, "steps not known: 2 steps; own choice")
    worst = published_linearity(CHIPS[0])
    assert worst is not None
    errors = np.array([error for _, error in worst.knots]) * 2.0 ** (bits - 12)
    widest = float(np.ptp(errors))
    return Steps(
        None,
        widest / RECTANGULAR / math.sqrt(2.0),
        f"steps not known and not corrected: up to {widest:.0f} between two levels of an RP2040 "
        "(as published; state [calibration] converter)",
    )
