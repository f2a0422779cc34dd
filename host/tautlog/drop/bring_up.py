"""Bring-up: each wire opened and shorted by hand, and what the board reads of it, kept.

The board is armed in some steps, with the latch's coil off and a test lamp in its place: the step
`coil-out` comes first in every session, whatever was done before, and nothing is armed unless a
person has typed its phrase. Nothing here prints: `Hands` are told and asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Protocol

from tautlog.board.answers import whole
from tautlog.board.at_rest import AtRest
from tautlog.board.health import read_health
from tautlog.board.readiness import LEAST_SHUNT
from tautlog.board.resting import read_shunt_step
from tautlog.board.session import Session
from tautlog.board.shunt import Shunt
from tautlog.campaign.bring_ups import board_seen, parts_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.fitted_shunt import shunt_of
from tautlog.campaign.own_board import require_own_board
from tautlog.drop.trial import Told, Trial, try_armed
from tautlog.errors import (
    AbortedError,
    BoardError,
    CalibrationError,
    CampaignError,
    LinkError,
    RefusedError,
)
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, role_of
from tautlog.model.commissioning import (
    BENCH,
    LATCH_OPENED,
    Parts,
    Phase,
    Reading,
    Scale,
    Step,
    at_rest,
    expected_text,
    read_text,
    watched,
    wrong,
)
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.names import meant
from tautlog.model.proven_wiring import (
    AS_EXPECTED,
    NOT_AS_EXPECTED,
    NOT_DONE,
    StepDone,
    last_results,
    steps_that_count,
)
from tautlog.model.timestamp import stamp
from tautlog.model.wiring import Wiring, input_bits, read_wiring

MOST_INPUTS = 255  # a byte of bits, see `wire.STATUS_BODY`


class Hands(Protocol):
    """The person at the box."""

    def begin(self, step: Step, number: int, of: int) -> None:
        """A step begins."""

    def do(self, step: Step, phase: Phase) -> str:
        """Do what a phase says; "" when done, else why not."""

    def now(self, phase: Phase) -> None:
        """The board is armed: do `phase.then` now, or look."""

    def sees(self, phase: Phase) -> bool | None:
        """Answer the question of a phase; None if it cannot be answered."""

    def coil_is_out(self, phase: Phase) -> bool:
        """Whether the phrase that lets the board be armed was typed."""

    def read(self, expected: str, read: str, faults: tuple[str, ...]) -> None:
        """What a phase was expected to read, what it read, and what is not as expected."""

    def done(self, step: Step, done: StepDone) -> None:
        """How a step came out."""


@dataclass
class BringUp:
    """One session of a bring-up.

    Parameters
    ----------
    session : Session
        The board, greeted.
    campaign : Campaign
        Says which parts are there, and what the chain must read.
    hands : Hands
        The person.
    by : str
        Their name.
    keep : callable
        Keeps a step, on disk when it returns.
    speed : float
        Board seconds per laptop second: 1 except in a rehearsal.
    """

    session: Session
    campaign: Campaign
    hands: Hands
    by: str
    keep: Callable[[StepDone], object]
    speed: float = 1.0
    _coil_is_out: bool = field(default=False, init=False)

    def __post_init__(self) -> None:
        board = self.session.instrument
        require_own_board(self.campaign, board, "a bring-up")
        if not board.wiring:
            raise CampaignError(
                "the board's firmware does not tell its pins: install the firmware of this "
                "program with `tautlog install`"
            )
        if board.state != "safe":
            raise RefusedError(
                f"the board is {board.state}: fetch what it holds with `tautlog recover`, or end "
                "the other program, then begin again"
            )

    @property
    def wiring(self) -> Wiring:
        """The board's wiring."""
        return read_wiring(self.session.instrument.wiring)

    @property
    def parts(self) -> Parts:
        """The parts of this rig."""
        return parts_of(self.campaign)

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps of this rig and board."""
        return steps_for(self.parts, self.wiring)

    def open_steps(self, done: Iterable[StepDone]) -> tuple[Step, ...]:
        """Steps that are missing or did not come out as expected last."""
        counting = steps_that_count(tuple(done), board_seen(self.session.instrument))
        last = last_results(counting)
        return tuple(
            step
            for step in self.steps
            if step.name not in last or last[step.name].result != AS_EXPECTED
        )

    def named(self, name: str) -> Step:
        """The step of that name.

        Raises
        ------
        CampaignError
            If this rig and board have none.
        """
        found = {step.name: step for step in self.steps}
        if name not in found:
            raise CampaignError(f"no step {name!r} here; {meant(name, found)}")
        return found[name]

    def run(
        self, steps: Iterable[Step], supersedes: int | None = None, reason: str = ""
    ) -> Iterator[StepDone]:
        """Do steps in order, the coil's first of all, and keep each as soon as it is done.

        Parameters
        ----------
        steps : iterable of Step
            What to do.
        supersedes, reason : int or None, str
            Line of the record that the last of them corrects, and why.

        Raises
        ------
        AbortedError
            If the coil is not off: nothing was armed.
        LinkError
            If the board is lost; what was done is kept.
        """
        wanted = [step for step in steps if step.name != BENCH]
        todo = [self.named(BENCH), *wanted]
        for number, step in enumerate(todo, start=1):
            self.hands.begin(step, number, len(todo))
            done = self._did(step, *((supersedes, reason) if step is todo[-1] else (None, "")))
            self.keep(done)
            self.hands.done(step, done)
            yield done
            if step.name == BENCH and not self._coil_is_out:
                raise AbortedError(
                    "the coil was not confirmed to be off: nothing else is done, and the board "
                    "was not armed"
                )

    def _did(self, step: Step, supersedes: int | None, reason: str) -> StepDone:
        rest, names = at_rest(self.parts, self.wiring), watched(self.parts, self.wiring)
        expected: list[str] = []
        read: list[str] = []
        faults: list[str] = []
        first: Reading | None = None
        not_done = ""
        for phase in step.phases:
            expected.append(expected_text(phase, rest, names))
            not_done = not_done or self.hands.do(step, phase)
            if not_done:
                continue
            try:
                reading = self._confirmed(phase) if step.name == BENCH else self._read(phase)
            except BaseException as problem:
                if phase.armed and self._coil_is_out:  # an earlier good result no longer stands
                    cut = _cut_short(problem)
                    self.keep(self._made(step, expected, [*read, "nothing"], [], cut, None, ""))
                raise
            first = first or reading
            scale = self._scale(phase)
            read.append(read_text(phase, reading, names, scale.column))
            found = wrong(phase, reading, first, rest, names, scale)
            self.hands.read(expected[-1], read[-1], found)
            faults += found
        return self._made(step, expected, read, faults, not_done, supersedes, reason)

    def _made(
        self,
        step: Step,
        expected: list[str],
        read: list[str],
        faults: list[str],
        not_done: str,
        supersedes: int | None,
        reason: str,
    ) -> StepDone:
        board = self.session.instrument
        result = NOT_AS_EXPECTED if faults else NOT_DONE if not_done else AS_EXPECTED
        return StepDone(
            utc=stamp(),
            by=self.by,
            serial=board.serial,
            board=board.board,
            firmware=board.firmware,
            wiring=board.wiring,
            step=step.name,
            expected="; then ".join(expected),
            read="; then ".join(read),
            result=result,
            why="; ".join([*dict.fromkeys(faults), *([not_done] if not_done else [])]),
            supersedes=supersedes,
            reason=reason,
        )

    def _confirmed(self, phase: Phase) -> Reading:
        self._coil_is_out = self.hands.coil_is_out(phase)
        return Reading(_inputs_of(self.session, self.wiring), seen=self._coil_is_out)

    def _read(self, phase: Phase) -> Reading:
        # Blocks that are under way still hold what was before; nothing arms on a restless signal.
        read_health(self.session, self._believed(0))
        if phase.armed:
            return self._armed(phase)
        if phase.question:
            return Reading(_inputs_of(self.session, self.wiring), seen=self.hands.sees(phase))
        health = read_health(self.session, self._believed(0))
        levels_v = health.channels_v or (health.level_v,)
        noises_v = health.channels_noise_v or (health.noise_v,)
        shunt = shunt_of(self.campaign, self.campaign.calibration, asked=True) or Shunt()
        step_v, good = (
            _shunt_step(self.session, self._believed(0), shunt) if phase.shunt else (None, False)
        )
        refused = tuple(
            self._refused(column, levels_v[column], noises_v[column])
            for column in range(len(levels_v))
        )
        return Reading(
            _inputs_of(self.session, self.wiring),
            levels_v,
            noises_v,
            refused,
            step_v,
            good,
            f"{shunt.text} expected",
        )

    def _armed(self, phase: Phase) -> Reading:
        """The board armed, with the coil off."""
        if not self._coil_is_out:
            raise AbortedError("the coil was not confirmed to be off: the board was not armed")
        inputs = _inputs_of(self.session, self.wiring)
        trial = Trial(phase.armed, phase.ends, self.speed)
        told = _tried(self.session, trial, lambda: self.hands.now(phase))
        if LATCH_OPENED & set(told.events) and phase.ends != "released":
            self._coil_is_out = False  # whatever was said: nothing is armed any more
        seen = self.hands.sees(phase) if phase.question and not told.refusal else None
        return Reading(
            inputs, events=told.events, ended=told.ended, refusal=told.refusal, seen=seen
        )

    def _believed(self, column: int) -> Calibration:
        """What is believed of a force channel before it is calibrated."""
        name = list(self.wiring.channels)[column]
        used = self.campaign if not column else self.campaign.for_channel(name)
        made = used.calibration
        bits = self.session.instrument.converter_bits
        return made if made.converter_bits == bits else _with_bits(made, bits)

    def _refused(self, column: int, level_v: float, noise_v: float) -> tuple[str, ...]:
        """Why the level of a channel forbids a drop, by the rule for every force channel."""
        name = list(self.wiring.channels)[column]
        if role_of(name) != FORCE:
            return ()
        used = self._believed(column)
        zero_v = used.zero_v or (None if column else self.campaign.amplifier.zero_v)
        told = "" if not column else name
        reduction = self.session.instrument.reduction
        rest = AtRest(told, used, reduction, level_v, noise_v, zero_v)
        found = [*rest.level(), *rest.quiet()]
        return tuple(f"{one.seen}, {one.expected}" for one in found if one.refuses)

    def _scale(self, phase: Phase) -> Scale:
        names = list(self.wiring.channels)
        column = names.index(phase.channel) if phase.channel else 0
        if role_of(names[column]) != FORCE:
            return Scale(column)
        used = self._believed(column)
        return Scale(
            column,
            1 if used.newton_per_volt > 0 else -1,
            used.rail_high_v - used.rail_low_v,
        )


def _with_bits(made: Calibration, bits: int) -> Calibration:
    return replace(made, converter_bits=bits, converter="")


def _tried(session: Session, trial: Trial, now: Callable[[], None]) -> Told:
    """Arm the board; a board that is lost then may still be armed, and that is said."""
    try:
        return try_armed(session, trial, now)
    except (LinkError, BoardError) as problem:
        raise AbortedError(
            f"the board was lost while it was ARMED ({problem}): key off, stay clear, power it "
            "off; treat it as armed until then. The step does not count"
        ) from problem


def _inputs_of(session: Session, wiring: Wiring) -> frozenset[str]:
    """Names of the inputs that are closed."""
    bits = whole("status", session.ask("status"), "inputs", MOST_INPUTS)
    return frozenset(name for name, bit in input_bits(wiring.readbacks).items() if bits & bit)


def _shunt_step(session: Session, used: Calibration, shunt: Shunt) -> tuple[float | None, bool]:
    """Step of the shunt, None for none; and whether it is as expected."""
    try:
        step_v = read_shunt_step(session, used)
    except CalibrationError:  # unsteady: no step
        return None, False
    if abs(step_v) < LEAST_SHUNT * (used.rail_high_v - used.rail_low_v):
        return None, False
    return step_v, shunt.expected_v is None or shunt.judge(step_v) != "invalid"


def _cut_short(problem: BaseException) -> str:
    return f"ended while the board was armed: {problem or type(problem).__name__}"
