"""Orders: what the crew asks the desk to do with its board, one at a time, in the main thread.

The main thread alone gets Ctrl-C, so it carries orders out; pages give them and ask where they
stand. The session that gave an order alone speaks to it. An order that has ended stays to be seen
until the next one begins, so that whoever comes back finds out how it ended.
"""

from __future__ import annotations

import _thread
import contextlib
import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from concurrent.futures import TimeoutError as NoAnswer
from dataclasses import dataclass, field, replace
from typing import Protocol

from tautlog.desk.feed import Feed
from tautlog.drop.stop import StopRequest
from tautlog.errors import CampaignError, NotNowError, TautlogError

ANSWER_S = 20.0  # for a word of the crew: the board may be read, and a port be looked for
LOOK_AGAIN_S = 0.5
STOPPED = "stopped by Ctrl-C at the desk's terminal"


@dataclass(frozen=True)
class Standing:
    """How an order stands; never changed, so that any page may look at it.

    Attributes
    ----------
    kind : str
        What was ordered.
    session : str
        Token of the session that gave it.
    number : int
        Grows with everything that a page must draw anew.
    under_way : bool
        It is being carried out.
    ended : str
        How it ended, in words; "" while it is under way.
    content : object
        What the kind of order knows; a frozen object of its own.
    """

    kind: str
    session: str = field(repr=False)
    number: int = 0
    under_way: bool = True
    ended: str = ""
    content: object = None


@dataclass(frozen=True)
class Word:
    """What the crew says to the order that is under way, and its answer."""

    fields: Mapping[str, str]
    answer: Future[None] = field(default_factory=Future)


class Order(Protocol):
    """Something to be carried out in the main thread."""

    @property
    def kind(self) -> str:
        """What it is, as a page calls it."""

    def carry_out(self, told: Telling) -> str:
        """Do it; how it ended, in words."""


class Orders:
    """The order of a desk.

    Parameters
    ----------
    feed : Feed
        Is told when something is to be drawn anew.
    """

    def __init__(self, feed: Feed) -> None:
        self._feed = feed
        self._guard = threading.Lock()
        self._given: queue.SimpleQueue[Order] = queue.SimpleQueue()
        self._words: queue.SimpleQueue[Word] = queue.SimpleQueue()
        self._standing: Standing | None = None
        self._attended = False
        self._listening = False
        self._pressed = False

    # For pages

    @property
    def standing(self) -> Standing | None:
        """The order that is under way, or the last one; None if there was none."""
        return self._standing

    def give(self, order: Order, session: str, content: object) -> None:
        """Give an order.

        Raises
        ------
        CampaignError
            If another one is under way, or nobody carries orders out.
        """
        with self._guard:
            if not self._attended:
                raise CampaignError("nobody carries out orders here: start `tautlog desk` again")
            self.require_free()
            self._standing = Standing(order.kind, session, content=content)
            self._given.put(order)
        self._tell()

    def require_free(self) -> None:
        """Refuse whatever wants the board while an order has it.

        Raises
        ------
        CampaignError
            If one is under way.
        """
        standing = self._standing
        if standing is not None and standing.under_way:
            raise CampaignError(f"the board is taken: {standing.kind} is under way. End it first")

    def say(self, session: str, fields: Mapping[str, str]) -> None:
        """Say something to the order that is under way, and wait until it was done.

        Raises
        ------
        TautlogError
            If it is refused, and why.
        """
        word = Word(fields)
        with self._guard:
            standing = self._standing
            if standing is None or not standing.under_way:
                raise CampaignError("nothing is under way any more: see how it ended")
            if standing.session != session:
                raise CampaignError(
                    f"another browser began this ({standing.kind}): it alone may go on with it. "
                    "Ctrl-C at the desk's terminal ends it"
                )
            if not getattr(standing.content, "hears", True):
                raise NotNowError(f"{standing.kind} goes on, and hears nothing now: see the page")
            self._words.put(word)
        try:
            word.answer.result(ANSWER_S)
        except NoAnswer:
            raise CampaignError(
                f"no answer within {ANSWER_S:g} s; it may still be done: load this page again"
            ) from None

    def interrupt(self) -> None:
        """Do what Ctrl-C at the desk's terminal does to the order that is under way.

        Raises
        ------
        CampaignError
            If nothing is under way that it could end.
        """
        with self._guard:
            standing = self._standing
            stops = standing is not None and getattr(standing.content, "may_call_off", False)
            if not self._listening or not stops:
                raise CampaignError("nothing is under way that could be called off")
            # Under the guard, and only while an order listens: never does it end an idle desk.
            self._pressed = True
            _thread.interrupt_main()

    # For the main thread

    def attend(
        self, until: threading.Event, say: Callable[[str], None] = lambda text: None
    ) -> None:
        """Carry out orders until an event is set, or Ctrl-C comes while none is under way.

        Parameters
        ----------
        until : threading.Event
            Ends it.
        say : callable
            Told how each order ended: who pressed Ctrl-C at the terminal may see no page.
        """
        self._attended = True
        try:
            while not until.is_set():
                try:
                    order = self._given.get(timeout=LOOK_AGAIN_S)
                except queue.Empty:
                    continue
                self._carry_out(order, until)
                if (standing := self._standing) is not None:
                    say(f"{standing.kind}: {standing.ended}")
        finally:
            self._attended = False

    def _carry_out(self, order: Order, until: threading.Event) -> None:
        telling = Telling(self, until)
        self._pressed = False
        try:
            ended = order.carry_out(telling)
        except KeyboardInterrupt:
            ended = STOPPED
        except TautlogError as problem:
            ended = str(problem)
        except Exception as mistake:  # the desk goes on; what was stored is stored
            ended = f"the desk made a mistake ({type(mistake).__name__})"
        if self._pressed:  # to the program it was a Ctrl-C
            ended = ended.replace("Ctrl-C", "the button of a page")
        with self._guard:
            assert self._standing is not None
            number = self._standing.number + 1
            self._standing = replace(self._standing, number=number, under_way=False, ended=ended)
            while not self._words.empty():
                self._words.get().answer.set_exception(CampaignError(f"it has ended: {ended}"))
        self._tell()
        for word in telling.last:
            word.answer.set_result(None)

    def _listens(self, listening: bool) -> None:
        with self._guard:
            self._listening = listening

    def _stands(self, content: object, anew: bool) -> None:
        with self._guard:
            assert self._standing is not None
            number = self._standing.number + anew
            self._standing = replace(self._standing, number=number, content=content)
        self._tell()

    def _tell(self) -> None:
        standing = self._standing
        assert standing is not None
        live = getattr(standing.content, "live", None)
        self._feed.tell(
            "standing",
            {
                "kind": standing.kind,
                "number": standing.number,
                "under_way": standing.under_way,
                "live": dict(live) if live else {},
            },
        )


class Telling:
    """What an order that is carried out hears and tells.

    Attributes
    ----------
    last : list of Word
        Words that ended it; they are answered once it has ended.
    """

    def __init__(self, orders: Orders, until: threading.Event) -> None:
        self.last: list[Word] = []
        self._orders = orders
        self._until = until

    @property
    def closing(self) -> bool:
        """The desk ends."""
        return self._until.is_set()

    @contextlib.contextmanager
    def listening(self) -> Iterator[StopRequest]:
        """Take Ctrl-C and the button of a page, which is the same, while inside."""
        with StopRequest().listening() as stop:
            self._orders._listens(True)
            try:
                yield stop
            finally:
                self._orders._listens(False)

    def refuse_early(self) -> None:
        """Refuse what was said before it was asked for; it must not answer what comes now."""
        for word in self.words():
            word.answer.set_exception(CampaignError("too early: it is asked for only now"))

    def stands(self, content: object, *, anew: bool) -> None:
        """Tell how it stands; `anew` if pages must draw more than figures."""
        self._orders._stands(content, anew)

    def words(self, wait_s: float = 0.0) -> list[Word]:
        """What the crew said meanwhile; waits for the first word if there is time."""
        found = []
        try:
            found.append(self._orders._words.get(timeout=wait_s) if wait_s else self._next())
            while True:
                found.append(self._next())
        except queue.Empty:
            return found

    def _next(self) -> Word:
        return self._orders._words.get_nowait()
