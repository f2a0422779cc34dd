"""Bench hands: a rehearsed person who does what each step of a bring-up says."""

from __future__ import annotations

from collections.abc import Callable

from tautlog.model.commissioning import Phase, Step
from tautlog.model.proven_wiring import StepDone


class BenchHands:
    """Hands at the bench of a rehearsed rig; see `drop.bring_up.Hands`.

    Parameters
    ----------
    tell : callable
        Takes a line of the bench's words, returns what is lit; `bench.Bench.do`, or the same
        through a port.
    show : callable
        Gets each step as it comes out.
    """

    def __init__(
        self,
        tell: Callable[[str], str],
        show: Callable[[Step, StepDone], None] = lambda step, done: None,
    ) -> None:
        self._tell = tell
        self._show = show

    def begin(self, step: Step, number: int, of: int) -> None:
        """Nothing to do."""

    def do(self, step: Step, phase: Phase) -> str:
        """Do it."""
        for line in phase.act:
            self._tell(line)
        self._tell("clear")
        return ""

    def now(self, phase: Phase) -> None:
        """Do what the armed board waits for."""
        for line in phase.then_act:
            self._tell(line)

    def sees(self, phase: Phase) -> bool:
        """Look."""
        lit = self._tell("see").split()
        name, expected = phase.eye
        if name.endswith("-alone"):
            return name.removesuffix("-alone") in lit and "coil" not in lit
        return (name in lit) == expected

    def coil_is_out(self, phase: Phase) -> bool:
        """It is: `do` has taken it out."""
        return True

    def read(self, expected: str, read: str, faults: tuple[str, ...]) -> None:
        """`done` shows all of it."""

    def done(self, step: Step, done: StepDone) -> None:
        """Show how it came out."""
        self._show(step, done)
