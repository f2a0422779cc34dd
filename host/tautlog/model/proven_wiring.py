"""Proven wiring: whether every wire of this board was tried by hand, and why not.

One guard, `unproven`, on one object, `Proving`; `plan`, `check`, `health`, `drop` and scripts all
ask it. What was tried on another board, or before a pin or channel changed, proves nothing. A step
that was done again counts as it came out last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tautlog.errors import CampaignError
from tautlog.model.commissioning import Parts
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.names import short
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.signature import signed
from tautlog.model.timestamp import require_time
from tautlog.model.wiring import read_wiring

AS_EXPECTED, NOT_AS_EXPECTED, NOT_DONE = "as expected", "not as expected", "not done"
RESULTS = (AS_EXPECTED, NOT_AS_EXPECTED, NOT_DONE)
MEND = "go through `tautlog health --bring-up` with the latch's coil off"
_MOST_NAMED = 4


@dataclass(frozen=True)
class StepDone:
    """One step of a bring-up, as it came out; a line of ``bring_up.jsonl``.

    Attributes
    ----------
    utc, by : str
        When, and who did it.
    serial, board, firmware, wiring : str
        The board, as it greeted; see `stream.Instrument`.
    step, expected, read : str
        Name of the step; what was expected and what was read, phase by phase.
    result : str
        One of `RESULTS`.
    why : str
        What was otherwise, or why it was not done; "" if all was as expected.
    supersedes, reason : int or None, str
        Number of the line that this one corrects, and why.

    Raises
    ------
    CampaignError
        If it is not signed, its time is not valid or in the future, its result is none, or it
        names no board.
    JsonError
        If its wiring is none.
    """

    utc: str
    by: str
    serial: str
    board: str
    firmware: str
    wiring: str
    step: str
    expected: str
    read: str
    result: str
    why: str = ""
    supersedes: int | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        for name in ("by", "serial", "board", "step"):
            if not signed(getattr(self, name)):
                raise CampaignError(f"{name} = {short(getattr(self, name))}: expected a name")
        if self.result not in RESULTS:
            allowed = ", ".join(map(repr, RESULTS))
            raise CampaignError(f"result = {short(self.result)}: allowed are {allowed}")
        if (self.result == AS_EXPECTED) == bool(signed(self.why)):
            raise CampaignError(
                f"why = {short(self.why)}: expected a reason where a step did not come out as "
                "expected, and none where it did"
            )
        read_wiring(self.wiring)

    @property
    def rehearsed(self) -> bool:
        """Whether the board was simulated."""
        return board_is_rehearsed(self.board, self.serial)


@dataclass(frozen=True)
class BoardSeen:
    """A board that greeted.

    Attributes
    ----------
    serial, board, wiring : str
        See `stream.Instrument`.
    """

    serial: str
    board: str
    wiring: str

    @property
    def rehearsed(self) -> bool:
        """Whether it is simulated."""
        return board_is_rehearsed(self.board, self.serial)


@dataclass(frozen=True)
class Proving:
    """What is known of the wiring before a drop.

    Attributes
    ----------
    done : tuple of StepDone
        Every step on record that counts, oldest first.
    unread : str
        Why the record cannot be read, or "".
    parts : Parts
        The parts that the rig has, as the campaign states them now.
    board : BoardSeen or None
        The board; None if none has greeted yet.
    driven : bool
        The drive opens the latch; False if a hand does.
    """

    done: tuple[StepDone, ...] = ()
    unread: str = ""
    parts: Parts = field(default_factory=Parts)
    board: BoardSeen | None = None
    driven: bool = True


def unproven(proving: Proving) -> str:
    """Why this wiring is not proven, in one line with the mend; "" if it is.

    Without a board it is enough that some board was brought up whole: which one is there is judged
    as soon as it greets.
    """
    if proving.unread:
        return (
            f"the bring-up cannot be read, so that what failed is not known: {proving.unread}, "
            "with `tautlog health --bring-up --step NAME --by NAME --reason TEXT`"
        )
    if not proving.done:
        return f"nobody has opened and shorted each wire of this rig: {MEND}"
    if proving.board is None:
        reasons = [_of_steps(steps, proving.parts) for steps in _by_board(proving.done).values()]
        return "" if "" in reasons else reasons[-1]
    return _of_board(proving, proving.board)


def steps_that_count(done: Sequence[StepDone], board: BoardSeen) -> tuple[StepDone, ...]:
    """Steps of this very board since its wiring was last another, oldest first."""
    return _by_board(done).get((board.serial, board.rehearsed), ())


def last_results(steps: Sequence[StepDone]) -> dict[str, StepDone]:
    """How each step came out last, by its name."""
    return {step.step: step for step in steps}


def _by_board(done: Sequence[StepDone]) -> dict[tuple[str, bool], tuple[StepDone, ...]]:
    """Steps by board, of each only those since its wiring changed last."""
    found: dict[tuple[str, bool], tuple[StepDone, ...]] = {}
    for step in done:
        key = (step.serial, step.rehearsed)
        before = found.pop(key, ())  # the board that was at work last comes last
        same = bool(before) and before[-1].wiring == step.wiring
        found[key] = (*before, step) if same else (step,)
    return found


def _of_board(proving: Proving, board: BoardSeen) -> str:
    if not board.wiring:
        return (
            "the board's firmware does not tell its pins, so that nobody knows whether they are "
            "those that were brought up: install the firmware of this program, then " + MEND
        )
    if proving.driven and proving.parts.fitted.driver != "yes":
        return (
            "campaign.toml states no driver, and its wires were not brought up: state driver = "
            '"yes" under [fitted], or drop with --hand-release'
        )
    steps = steps_that_count(proving.done, board)
    if not steps:
        others = dict.fromkeys(
            f"{step.serial} ({'rehearsed' if step.rehearsed else step.board})"
            for step in proving.done
        )
        return f"this board, {board.serial}, was never brought up, only {', '.join(others)}: {MEND}"
    before, now = read_wiring(steps[-1].wiring), read_wiring(board.wiring)
    changes = before.changes(now)
    if changes:
        return f"the wiring has changed since the bring-up ({'; '.join(changes)}): {MEND}"
    return _of_steps(steps, proving.parts)


def _of_steps(steps: Sequence[StepDone], parts: Parts) -> str:
    """Why these steps of one board prove nothing."""
    last = last_results(steps)
    required = [step.name for step in steps_for(parts, read_wiring(steps[-1].wiring))]
    lacking = [name for name in required if name not in last]
    bad = [last[name] for name in required if name in last and last[name].result != AS_EXPECTED]
    told = [f"{step.step} is {step.result} ({step.why})" for step in bad[:_MOST_NAMED]]
    if len(bad) > _MOST_NAMED:
        told.append(f"{len(bad) - _MOST_NAMED} more are not as expected")
    if lacking:
        more = f" and {len(lacking) - _MOST_NAMED} more" if len(lacking) > _MOST_NAMED else ""
        told.append(f"missing: {', '.join(lacking[:_MOST_NAMED])}{more}")
    if not told:
        return ""
    return f"the bring-up of board {steps[-1].serial} is not whole: {'; '.join(told)}: {MEND}"
