"""The ramp of a converter's test: pulses of a pin through R and C, read by unequal steps."""

from __future__ import annotations

import bisect
import math
import random
from collections.abc import Iterator
from typing import Any

from tautlog.model.linearity import published_linearity

TAU_NS = 2.5e6  # a fast R and C, for short ramps


class RampOfPin:
    """GP9's pulse width through R and C, read by a converter with the published steps.

    Parameters
    ----------
    clock : object
        Of the emulator, with its `nanos`.
    pulses : object
        The slice of GP8 and GP9, with its `cc` and `top`.
    """

    def __init__(self, clock: Any, pulses: Any) -> None:
        self._clock, self._slice = clock, pulses
        linearity = published_linearity("RP2040")
        assert linearity is not None
        self._transitions = linearity.transitions.tolist()
        source = random.Random(7)
        self._noise = [source.gauss(0.0, linearity.noise_steps) for _ in range(65521)]

    def conversions(self) -> Iterator[int]:
        level, before_ns = 0.0, self._clock.nanos
        while True:
            for noise in self._noise:
                now_ns, pulses = self._clock.nanos, self._slice
                target = 4120.0 * (pulses.cc >> 16) / (pulses.top + 1) - 12.0
                level += (target - level) * -math.expm1((before_ns - now_ns) / TAU_NS)
                before_ns = now_ns
                yield bisect.bisect(self._transitions, level + noise)
