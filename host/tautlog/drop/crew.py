"""Crew: whoever watches a drop and decides; and the shield between them and the recording."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

    from tautlog.board.health import Health
    from tautlog.board.readiness import Finding
    from tautlog.model.stream import Block, BoardEvent, Instrument
    from tautlog.model.trace import DropSetup


class Crew(Protocol):
    """Whoever watches and decides."""

    def met(self, instrument: Instrument, health: Health) -> None:
        """The board was greeted and reads this."""

    def found(self, findings: list[Finding]) -> None:
        """What forbids the drop, and what is in doubt."""

    def agree(self, setup: DropSetup) -> bool:
        """Whether the phrase that arms was typed."""

    def armed(self, by_hand: bool) -> None:
        """The board is armed and its samples are on disk."""

    def count(self, left_s: float) -> None:
        """So many seconds are left until the release command."""

    def released(self, opened: BoardEvent) -> None:
        """The release switch opened, or the force came without it."""

    def block(self, block: Block) -> None:
        """A block was taken; whoever shows it must be quick."""

    def received(self, since_release_s: float, of_s: float) -> None:
        """So much of the recording has come."""

    def ending(self, more: int) -> None:
        """The recording ends early; so many signals more leave it to the board."""


class Shield:
    """What is shown may fail: the failure is noted, and nothing is shown any more.

    Attributes
    ----------
    failure : str
        Why nothing is shown any more; "" while all is well.
    """

    def __init__(self) -> None:
        self.failure = ""

    @contextlib.contextmanager
    def __call__(self) -> Iterator[None]:
        """Show something inside."""
        try:
            yield
        except (Exception, SystemExit) as problem:
            self.failure = self.failure or f"{type(problem).__name__}: {problem}"


class ShieldedCrew:
    """A crew whose failures reach nobody: from the first one on it is silent.

    Parameters
    ----------
    crew : Crew
        Who is told.
    """

    def __init__(self, crew: Crew) -> None:
        self._crew = crew
        self._shield = Shield()

    @property
    def failure(self) -> str:
        """Why the crew is silent, or ""."""
        return self._shield.failure

    def _tell(self, told: Callable[..., Any], *what: Any) -> Any:
        if not self.failure:
            with self._shield():
                return told(*what)
        return None

    def met(self, instrument: Instrument, health: Health) -> None:
        """As `Crew`."""
        self._tell(self._crew.met, instrument, health)

    def found(self, findings: list[Finding]) -> None:
        """As `Crew`."""
        self._tell(self._crew.found, findings)

    def agree(self, setup: DropSetup) -> bool:
        """As `Crew`; a crew that failed does not agree."""
        return bool(self._tell(self._crew.agree, setup))

    def armed(self, by_hand: bool) -> None:
        """As `Crew`."""
        self._tell(self._crew.armed, by_hand)

    def count(self, left_s: float) -> None:
        """As `Crew`."""
        self._tell(self._crew.count, left_s)

    def released(self, opened: BoardEvent) -> None:
        """As `Crew`."""
        self._tell(self._crew.released, opened)

    def block(self, block: Block) -> None:
        """As `Crew`."""
        self._tell(self._crew.block, block)

    def received(self, since_release_s: float, of_s: float) -> None:
        """As `Crew`."""
        self._tell(self._crew.received, since_release_s, of_s)

    def ending(self, more: int) -> None:
        """As `Crew`."""
        self._tell(self._crew.ending, more)
