"""Outcome: the plan of a drop, and its outcome."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from tautlog.board.shunt import Shunt
from tautlog.drop.permit import Permit
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.display_units import SI, Units
from tautlog.model.stream import BoardEvent
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class DropPlan:
    """The plan of one drop.

    Attributes
    ----------
    path : Path
        The new record; must not exist.
    permit : Permit
        The permit, with the set-up, calibration and campaign for the record.
    by_hand : bool
        Wait for a release by hand; do not drive.
    countdown_s, record_s : float
        Length of the countdown, and of the recording after the release.
    speed : float
        Board seconds per laptop second: 1 except in a rehearsal.
    shunt : Shunt or None
        The shunt resistor, if one is fitted: read and judged before arming.
    units : Units
        Units in which the crew is told; what is kept is in SI.
    """

    path: Path
    permit: Permit
    by_hand: bool = False
    countdown_s: float = 5.0
    record_s: float = 7.0
    speed: float = 1.0
    shunt: Shunt | None = None
    units: Units = SI

    @property
    def setup(self) -> DropSetup:
        """The set-up of the permit."""
        return self.permit.setup

    @property
    def calibration(self) -> Calibration:
        """The calibration of the permit."""
        return self.permit.calibration

    @property
    def channels(self) -> tuple[Channel, ...]:
        """What the permit knows of the board's channels."""
        return self.permit.channels

    @property
    def campaign(self) -> str:
        """Name of the campaign, or ""."""
        return self.permit.campaign

    def at(self, path: Path) -> DropPlan:
        """The same plan with another record path."""
        return replace(self, path=path)


@dataclass(frozen=True)
class DropOutcome:
    """The outcome of a drop.

    Attributes
    ----------
    path : Path
        The record.
    early : bool
        The user ended the recording early.
    first_block : int
        Number of its first block.
    missing_blocks, damaged : int
        Blocks that never came; frames that arrived damaged and were sent again.
    events : list of BoardEvent
        The board's events.
    kept : str
        Where a recovered event was kept: "memory", "flash" or "reset"; else "".
    notes : tuple of str
        Deviations from the plan.
    shunt_before_v : float or None
        Step of the shunt resistor before arming, if it was read.
    problem : str
        Why the shunt's step could not be read afterwards, or "".
    """

    path: Path
    early: bool
    first_block: int
    missing_blocks: int
    damaged: int
    events: list[BoardEvent] = field(default_factory=list)
    kept: str = ""
    notes: tuple[str, ...] = ()
    shunt_before_v: float | None = None
    problem: str = ""
