"""At rest: what a force channel must show before a drop, whichever channel it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.board.converter_fit import MEANS_BITS
from tautlog.board.finding import ReadinessFinding
from tautlog.model.calibration import Calibration
from tautlog.model.shown import shown

# Fractions of the span between the limits. The zero balance of a bridge is commonly within 1 to
# 2 % of its rated output (from memory, data sheets of cells); twice that, for drift and for the
# parts that hang from the cell. An open bridge or a hanging sled is farther off on most rigs.
ZERO_REFUSED = 0.05
ZERO_DOUBTED = 0.02
# Rms of one conversion, in steps. Quantisation alone is 0.29 (Bennett, Bell System Tech. J.
# 27 (1948) 446); a Pico's own converter, on a quiet source, 0.97 at least (a published
# characterisation, pico-adc.markomo.me). Below this, no converter is working on a live
# signal.
LEAST_NOISE_STEPS = 0.8
# Rms of a sample of means, in its counts. A 16-bit converter alone shows 0.4 to 0.8 step rms
# (transition noise, data sheets of such parts) and its rounded mean 0.29 more, together 0.85
# at most; a bridge amplifier of 10 nV/rtHz, gain 200 and 2 kHz shows 2 steps and more.
LEAST_NOISE_COUNTS = 1.0


@dataclass(frozen=True)
class AtRest:
    """One force channel without a force.

    Attributes
    ----------
    name : str
        Of the channel; "" for the first.
    calibration : Calibration
        Of this channel.
    reduction : int
        Conversions in one sample.
    level_v, noise_v : float
        Mean and rms noise of its samples.
    zero_v : float or None
        Its output without force, if that is known.
    """

    name: str
    calibration: Calibration
    reduction: int
    level_v: float
    noise_v: float
    zero_v: float | None

    def level(self) -> list[ReadinessFinding]:
        """Whether it rests where it should."""
        low_v, high_v = self.calibration.working_range_v()
        if not low_v < self.level_v < high_v:
            at = shown(self.level_v, "V", (low_v, high_v), least=3)
            return [
                self._finding(
                    "at-rail",
                    f"is at {at.text}",
                    f"the amplifier works between {at.level(0)} and {at.level(1)}",
                    "it is at its limit, or dead: check supply, bridge wires and zero setting",
                )
            ]
        if self.zero_v is None:
            section = "[[force_channel]]" if self.name else "[calibration] or [amplifier]"
            return [
                self._finding(
                    "zero-unknown",
                    f"rests at {self.level_v:.3f} V",
                    "the voltage without force is not stated",
                    f"calibrate, or enter zero_v under {section}",
                    refuses=False,
                )
            ]
        span_v = self.calibration.rail_high_v - self.calibration.rail_low_v
        off = abs(self.level_v - self.zero_v) / span_v
        if off <= ZERO_DOUBTED:
            return []
        refuses = off > ZERO_REFUSED
        width_v = span_v * (ZERO_REFUSED if refuses else ZERO_DOUBTED)
        rests = shown(self.level_v, "V", (self.zero_v - width_v, self.zero_v + width_v), least=3)
        return [
            self._finding(
                "off-zero" if refuses else "zero-moved",
                f"rests at {rests.text}",
                f"expected {self.zero_v:.3f} V without force, {rests.levels[0]} to "
                f"{rests.level(1)} at most",
                "look for a broken bridge wire or a load on the cell; if the zero has moved, "
                "calibrate again",
                refuses=refuses,
            )
        ]

    def quiet(self) -> list[ReadinessFinding]:
        """Whether it is too still to be alive."""
        least_v = least_noise_v(self.calibration, self.reduction)
        if self.noise_v >= least_v:
            return []
        noise = shown(1e3 * self.noise_v, "mV", (1e3 * least_v,), least=3)
        return [
            self._finding(
                "too-quiet",
                f"is too still, {noise.text} rms",
                f"a working chain shows {noise.level()} or more",
                "check the bridge's wires and supply: only the converter's own noise is seen",
            )
        ]

    def _finding(
        self, code: str, seen: str, expected: str, mend: str, *, refuses: bool = True
    ) -> ReadinessFinding:
        who, leg = (repr(self.name), "leg-") if self.name else ("the signal", "")
        return ReadinessFinding(f"{leg}{code}", refuses, f"{who} {seen}", expected, mend)


def least_noise_v(calibration: Calibration, reduction: int) -> float:
    """Smallest rms noise of a working chain, in V."""
    if calibration.converter_bits == MEANS_BITS:
        return LEAST_NOISE_COUNTS * calibration.volt_per_count(reduction)
    return LEAST_NOISE_STEPS * calibration.volt_per_count(1) / math.sqrt(reduction)
