"""Crew: the people who watch a drop and decide, shielded from the recording."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

    from tautlog.board.finding import ReadinessFinding
    from tautlog.board.health import Health
    from tautlog.model.stream import Block, BoardEvent, Instrument
    from tautlog.model.trace import DropSetup


PHRASE = "clear to drop"


def phrase_holds(typed: str) -> bool:
    """Whether the phrase that arms was typed, letter by letter; only blanks around it do not count.

    A read-back is exact: whoever types it otherwise has not read it. Common practice of procedures
    for two persons.
    """
    return typed.strip(" \t\r\n") == PHRASE


class Crew(Protocol):
    """The people who watch and decide."""

    def met(self, instrument: Instrument, health: Health) -> None:
        """The board was greeted, with these readings."""

    def found(self, findings: list[ReadinessFinding]) -> None:
        """These findings forbid the drop or are in doubt."""

    def agree(self, setup: DropSetup) -> bool:
        """Ask for the phrase that arms; whether it was typed."""

    def armed(self, by_hand: bool) -> None:
        """The board is armed and its samples are on disk."""

    def count(self, left_s: float) -> None:
        """Seconds left until the release command."""

    def released(self, opened: BoardEvent) -> None:
        """The release switch opened, or the force came without it."""

    def block(self, block: Block) -> None:
        """A block was taken; showing it must be quick."""

    def received(self, since_release_s: float, of_s: float) -> None:
        """A part of the recording has come: seconds since the release, of how many."""

    def ending(self, more: int) -> None:
        """The recording ends early; `more` further signals leave it to the board."""


class Shield:
    """Catches failures of the display: the first is kept, and nothing is shown after it.

    Attributes
    ----------
    failure : str
        Why nothing is shown; "" while the display works.
    """

    def __init__(self) -> None:
        self.failure = ""

    @contextlib.contextmanager
    def __call__(self) -> Iterator[None]:
        """Guard the code that shows something."""
        try:
            yield
        except (Exception, SystemExit) as problem:
            self.failure = self.failure or f"{type(problem).__name__}: {problem}"


class ShieldedCrew:
    """A crew whose failures cannot stop a drop: after the first one it is silent.

    Parameters
    ----------
    crew : Crew
        The crew behind the shield.
    """

    def __init__(self, crew: Crew) -> None:
        self._crew = crew
        self._shield = Shield()

    @property
    def failure(self) -> str:
        """Why the crew is silent, or ""."""
        return self._shield.failure

    def _call(self, method: Callable[..., Any], *arguments: Any) -> Any:
        if not self.failure:
            with self._shield():
                return method(*arguments)
        return None

    def met(self, instrument: Instrument, health: Health) -> None:
        """As `Crew`."""
        self._call(self._crew.met, instrument, health)

    def found(self, findings: list[ReadinessFinding]) -> None:
        """As `Crew`."""
        self._call(self._crew.found, findings)

    def agree(self, setup: DropSetup) -> bool:
        """As `Crew`; a crew that failed does not agree."""
        return bool(self._call(self._crew.agree, setup))

    def armed(self, by_hand: bool) -> None:
        """As `Crew`."""
        self._call(self._crew.armed, by_hand)

    def count(self, left_s: float) -> None:
        """As `Crew`."""
        self._call(self._crew.count, left_s)

    def released(self, opened: BoardEvent) -> None:
        """As `Crew`."""
        self._call(self._crew.released, opened)

    def block(self, block: Block) -> None:
        """As `Crew`."""
        self._call(self._crew.block, block)

    def received(self, since_release_s: float, of_s: float) -> None:
        """As `Crew`."""
        self._call(self._crew.received, since_release_s, of_s)

    def ending(self, more: int) -> None:
        """As `Crew`."""
        self._call(self._crew.ending, more)
