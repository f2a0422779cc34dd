"""At board: an order that holds the board's port, and reads its signal until the crew ends it.

What is done with the readings is a `Work`: points of a calibration, a hanging check, a pull. If the
board goes away, what was taken so far stays, and the crew connects the same board again, or ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

from tautlog.board.link import SerialLink
from tautlog.board.resting import Look, Resting
from tautlog.board.session import Session
from tautlog.desk.orders import Telling, Word
from tautlog.errors import CampaignError, TautlogError
from tautlog.model.origin import MARK, board_is_rehearsed
from tautlog.model.stream import Instrument

AWAY_WAIT_S = 0.3
STOP, CONNECT = "stop", "connect"


class Work(Protocol):
    """What is done with the readings of a board; never changed, each step gives a new one."""

    @property
    def ended(self) -> str:
        """How it ended, in words; "" while it goes on."""

    @property
    def good(self) -> bool:
        """Whether it ended well."""

    @property
    def lost(self) -> str:
        """What is lost if it ends now, in words; "" if nothing."""

    @property
    def live(self) -> Mapping[str, str]:
        """Figures that change with every reading, by their names on the page."""

    def met(self, resting: Resting) -> Work:
        """A board has answered."""

    def seen(self, look: Look) -> Work:
        """One reading more."""

    def obeyed(self, fields: Mapping[str, str], look: Look | None) -> Work:
        """What the crew said, done; raises a TautlogError if it is refused."""


@dataclass(frozen=True)
class AtBoard:
    """How such an order stands.

    Attributes
    ----------
    work : Work
        What is done.
    board : Instrument or None
        The board that answered, None while none does.
    look : Look or None
        Its last reading.
    away : str
        Why no board answers, or "".
    """

    work: Work
    board: Instrument | None = None
    look: Look | None = None
    away: str = ""

    @property
    def rehearsed(self) -> str:
        """The mark of a simulated board, or ""."""
        board = self.board
        return MARK if board and board_is_rehearsed(board.board, board.serial) else ""

    @property
    def live(self) -> Mapping[str, str]:
        """Figures of the last reading, and those of the work."""
        look = self.look
        if look is None:
            return {"level": "-", "noise": "-", "state": self.away or "looking for the board"}
        state = look.problem or ("steady" if look.volt is not None else "not steady yet")
        return {
            "level": f"{look.level_v if look.volt is None else look.volt:.5f} V",
            "noise": f"noise {1e3 * look.noise_v:.2f} mV rms",
            "state": state,
            "may": "" if look.why_not else "yes",
            **self.work.live,
        }


@dataclass
class AtBoardOrder:
    """An order that reads a board.

    Attributes
    ----------
    kind : str
        What it is, as a page calls it.
    begun : Work
        What is to be done.
    port : str
        The board's port.
    rest : callable
        Greets the board and finds its channel.
    """

    kind: str
    begun: Work
    port: str
    rest: Callable[[Session], Resting]
    _stands: AtBoard = field(init=False)

    def __post_init__(self) -> None:
        self._stands = AtBoard(self.begun)

    @property
    def content(self) -> AtBoard:
        """How it stands before it is carried out."""
        return self._stands

    def carry_out(self, told: Telling) -> str:
        """Read until the crew ends it; see `orders.Order`."""
        try:
            while not self._stands.work.ended and not told.closing:
                try:
                    with SerialLink(self.port) as link:
                        self._read(link, told)
                except TautlogError as problem:
                    self._away(str(problem), told)
        except _Stopped:
            return self._and_lost("stopped by the crew")
        except KeyboardInterrupt:
            return self._and_lost("stopped by Ctrl-C at the desk's terminal")
        return self._stands.work.ended or self._and_lost("the desk was closed")

    def _and_lost(self, why: str) -> str:
        lost = self._stands.work.lost
        return f"{why}; {lost or 'nothing was taken'}"

    def _read(self, link: SerialLink, told: Telling) -> None:
        """Greet the board, then read it again and again."""
        resting = self.rest(Session(link))
        known = self._stands.board
        if known is not None and known.serial != resting.board.serial:
            raise CampaignError(
                f"this is board {resting.board.serial}, the readings so far are of {known.serial}: "
                "connect that one, or end this and begin again"
            )
        work = self._stands.work.met(resting)
        self._now(told, anew=True, board=resting.board, work=work, away="")
        while not self._stands.work.ended and not told.closing:
            look = resting.look()
            self._now(told, anew=False, look=look, work=self._stands.work.seen(look))
            for word in told.words():
                if word.fields.get("do") == CONNECT:
                    word.answer.set_exception(CampaignError("the board is connected"))
                else:
                    self._obey(word, told)

    def _away(self, why: str, told: Telling) -> None:
        """Wait until the crew says that a board is there again."""
        self._now(told, anew=True, look=None, away=why)
        while not told.closing:
            self._now(told, anew=False)  # told again: a page that just loaded missed the first
            for word in told.words(AWAY_WAIT_S):
                if word.fields.get("do") == CONNECT:
                    word.answer.set_result(None)
                    return
                self._obey(word, told)
            if self._stands.work.ended:
                return

    def _obey(self, word: Word, told: Telling) -> None:
        """Do what the crew said, or answer why not."""
        if word.fields.get("do") == STOP:
            told.last.append(word)
            raise _Stopped
        try:
            work = self._stands.work.obeyed(word.fields, self._stands.look)
        except TautlogError as problem:
            word.answer.set_exception(problem)
            return
        self._now(told, anew=True, work=work)
        if work.ended:
            told.last.append(word)
        else:
            word.answer.set_result(None)

    def _now(self, told: Telling, *, anew: bool, **changes: object) -> None:
        self._stands = replace(self._stands, **changes)  # type: ignore[arg-type]
        told.stands(self._stands, anew=anew)


class _Stopped(Exception):
    """The crew ends it."""
