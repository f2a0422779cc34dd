"""Analog filter: what amplifier and anti-alias filter keep out, and what they take.

Frequencies above half the conversion rate fold onto the pulse at the conversion, whatever is
summed afterwards, so only the analog low-pass can keep them out. The same low-pass takes some of
what the channel frequency class is to pass. `judge_filter` asks both of one low-pass, for plans
and for verdicts.

A data sheet states a bandwidth, and at best how many poles. Of all filters with so many real or
complex poles and the same -3 dB, equal real poles fall off the least beyond the bandwidth and
droop the most before it (Bessel and Butterworth lie on the other side), and of those a single
pole is the worst at both: (1 + a x)**n with (1 + a)**n = 2 is convex in x, its chord is 1 + x.
That pole is the bound where nobody stated how many there are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.analysis.filters import CORNER_PER_CLASS, MINUS_3_DB_PER_CLASS
from tautlog.model.shown import shown

# The corridor of SAE J211-1 and ISO 6487 for the whole chain, analog and digital: from the class's
# frequency on 1 dB may be missing, at 5/3 of it 4 dB (from memory); a class filter is 30 dB down
# in its stop band, 40 dB from class 600 on (as transcribed by public documentation of class
# filters). The same is asked of what may fold.
CORRIDOR_DB = ((1.0, 1.0), (MINUS_3_DB_PER_CLASS, 4.0))
STOP_DB, STOP_HIGH_DB, HIGH_CLASS = 30.0, 40.0, 600


@dataclass(frozen=True)
class FilterCheck:
    """What a low-pass does to a class; decibels are positive.

    Attributes
    ----------
    attenuation_db, wanted_db : float
        At half the conversion rate: at least so much; wanted.
    droop_db, allowed_db : float
        At the class's frequency: at most so much; what the corridor leaves, where it is tightest.
    flat : bool
        Whether the corridor holds at all its corners.
    poles : int
        Stated; 0 where nobody did, and one pole was the bound.
    text : str
        All of it in plain words.
    """

    attenuation_db: float
    wanted_db: float
    droop_db: float
    allowed_db: float
    flat: bool
    poles: int
    text: str

    @property
    def keeps_out(self) -> bool:
        """Whether enough is kept out of what would fold."""
        return self.attenuation_db >= self.wanted_db


def pole_hz(bandwidth_hz: float, poles: int) -> float:
    """Corner of each of so many equal poles that are 3 dB down together at a bandwidth."""
    return bandwidth_hz / math.sqrt(2.0 ** (1.0 / max(poles, 1)) - 1.0)


def loss_db(frequency_hz: float, bandwidth_hz: float, poles: int) -> float:
    """Loss of so many equal poles (RC stages with buffers) at a frequency."""
    ratio = frequency_hz / pole_hz(bandwidth_hz, poles)
    return 10.0 * max(poles, 1) * math.log10(1.0 + ratio**2)


def class_loss_db(ratio: float) -> float:
    """Loss of a class's own filter, both passes, at a frequency over the class; see `filters`."""
    return 20.0 * math.log10(1.0 + (ratio / CORNER_PER_CLASS) ** 4)


def wanted_attenuation_db(cfc: int) -> float:
    """Attenuation that a class wants of what lies in its stop band."""
    return STOP_HIGH_DB if cfc >= HIGH_CLASS else STOP_DB


def judge_filter(
    bandwidth_hz: float, poles: int, conversion_rate_hz: float, cfc: int
) -> FilterCheck:
    """Judge a low-pass against a class and a rate of conversion.

    Parameters
    ----------
    bandwidth_hz : float
        Of amplifier and filter together, -3 dB; above 0.
    poles : int
        How many poles the low-pass has; 0 if nobody stated it.
    conversion_rate_hz : float
        Conversions of one channel in a second, before any are summed; above 0.
    cfc : int
        Channel frequency class.
    """
    attenuation = loss_db(0.5 * conversion_rate_hz, bandwidth_hz, poles)
    wanted = wanted_attenuation_db(cfc)
    droops = [loss_db(times * cfc, bandwidth_hz, poles) for times, _ in CORRIDOR_DB]
    lefts = [most - class_loss_db(times) for times, most in CORRIDOR_DB]
    flat = all(droop <= left for droop, left in zip(droops, lefts, strict=True))
    off = shown(attenuation, "dB", (wanted,), least=1)
    droop = shown(droops[0], "dB", (lefts[0],), least=2)
    text = (
        f"{bandwidth_hz:g} Hz with {_poles(poles)}: at least {off.text} off at half the "
        f"conversion rate ({0.5 * conversion_rate_hz:g} Hz), {off.level()} wanted; at most "
        f"{droop.text} off at {cfc} Hz, {droop.level()} left by the corridor of class {cfc}"
    )
    if not poles and not attenuation >= wanted:
        text += "; with more poles it may keep out enough: state filter_poles"
    elif not poles and not flat:
        text += "; with more poles it may be flatter: state filter_poles"
    return FilterCheck(attenuation, wanted, droops[0], lefts[0], flat, poles, text)


def _poles(poles: int) -> str:
    if not poles:
        return "poles that nobody stated (bound: one)"
    return "1 pole" if poles == 1 else f"{poles} poles"
