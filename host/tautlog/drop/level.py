"""Level: whether the force signals stay where they were found, while the sled still hangs.

The line is slack, so every force is zero. A wire that opens between arming and release lets the
signal go to a rail, to another level, or dead: the drop would be blind. The board watches the rails
of its first channel; here every force channel is held to the limits that the board was armed with.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from tautlog.board.readiness import arm_fields
from tautlog.drop.outcome import DropPlan
from tautlog.model.channels import FORCE, channel_for, columns_of
from tautlog.model.stream import Block, Instrument

# Longer than a period of the mains and than a knock at the rig; own choice.
WINDOW_S = 0.1


@dataclass(frozen=True)
class _Seen:
    """Smallest, largest and mean value of one channel in one block."""

    low: float
    high: float
    mean: float


class Level:
    """The force channels of an armed board, block by block.

    Parameters
    ----------
    plan : DropPlan
        The drop, with the calibrations of its channels.
    board : Instrument
        The board.
    """

    def __init__(self, plan: DropPlan, board: Instrument) -> None:
        names = board.channels
        self._limits: dict[int, dict[str, int]] = {}
        for column in columns_of(names, FORCE):
            leg = channel_for(plan.channels, names[column]).calibration
            used, zero_v = (leg, None) if column else (plan.calibration, plan.permit.stated_zero_v)
            if used is not None:
                self._limits[column] = arm_fields(used, board.reduction, zero_v)
        self._names = names
        most = max(1, math.ceil(WINDOW_S * board.sample_rate_hz / board.samples_per_block))
        self._seen: dict[int, deque[_Seen]] = {
            column: deque(maxlen=most) for column in self._limits
        }

    def take(self, block: Block) -> None:
        """Look at a block."""
        if not block.counts.shape[0]:
            return
        for column, seen in self._seen.items():
            counts = block.counts[:, column]
            seen.append(_Seen(float(counts.min()), float(counts.max()), float(np.mean(counts))))

    @property
    def lost(self) -> str:
        """Why a force channel is not at rest any more, all through the window; "" while all are."""
        for column, seen in self._seen.items():
            if len(seen) == seen.maxlen and (why := self._off(column, list(seen))):
                return self._told(column, why)
        return ""

    @property
    def in_doubt(self) -> str:
        """Why the newest block alone is not at rest: enough to send no release."""
        for column, seen in self._seen.items():
            if seen and (why := self._off(column, [seen[-1]])):
                return self._told(column, why)
        return ""

    def _told(self, column: int, why: str) -> str:
        return f"the signal of channel {self._names[column]!r} {why}: a wire may be open"

    def _off(self, column: int, seen: list[_Seen]) -> str:
        limits = self._limits[column]
        if all(one.low <= limits["rail_low"] or one.high >= limits["rail_high"] for one in seen):
            return "went to a limit of the amplifier"
        if all(not limits["level_low"] <= one.mean <= limits["level_high"] for one in seen):
            return "left its zero"
        span = max(one.high for one in seen) - min(one.low for one in seen)
        if len(seen) == self._seen[column].maxlen and span < limits["least_span"]:
            return "went dead, without the noise of a living chain"
        return ""
