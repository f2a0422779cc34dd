"""Outcome: a drop as it is asked for, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from tautlog.board.shunt import Shunt
from tautlog.drop.permission import Permit
from tautlog.model.calibration import Calibration
from tautlog.model.stream import BoardEvent
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class DropPlan:
    """One drop as asked for.

    Attributes
    ----------
    path : Path
        The record to make; must not exist.
    permit : Permit
        On which it is done: set-up, calibration and campaign, which go into the record.
    by_hand : bool
        Wait for a hand to release; no drive.
    countdown_s, record_s : float
        Countdown; recording after the release.
    speed : float
        Board seconds per second of the laptop: 1 but in a rehearsal.
    shunt : Shunt or None
        The shunt resistor, where one is fitted: read and judged before arming.
    """

    path: Path
    permit: Permit
    by_hand: bool = False
    countdown_s: float = 5.0
    record_s: float = 7.0
    speed: float = 1.0
    shunt: Shunt | None = None

    @property
    def setup(self) -> DropSetup:
        """What was permitted to be dropped."""
        return self.permit.setup

    @property
    def calibration(self) -> Calibration:
        """By which it was permitted."""
        return self.permit.calibration

    @property
    def campaign(self) -> str:
        """Name of the campaign, or ""."""
        return self.permit.campaign

    def at(self, path: Path) -> DropPlan:
        """The same drop with another record path."""
        return replace(self, path=path)


@dataclass(frozen=True)
class DropOutcome:
    """What came of it.

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
        What the board noted.
    kept : str
        Where a recovered event was: "memory", "flash" or "reset"; empty otherwise.
    notes : tuple of str
        What went otherwise than planned.
    shunt_before_v : float or None
        Step of the shunt resistor before arming, where it was read.
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
