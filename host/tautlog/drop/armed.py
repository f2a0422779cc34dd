"""Armed: the part of a drop in which the board is armed and the sled still hangs.

Any fault calls the drop off.
"""

from __future__ import annotations

from typing import NoReturn

from tautlog.board.finding import ReadinessFinding
from tautlog.drop.arming import RELEASED, SAFE, UNKNOWN, make_safe
from tautlog.drop.keeping import leave, reworded
from tautlog.drop.reentered import after_event
from tautlog.drop.watch import Watch
from tautlog.errors import AbortedError, RecordError
from tautlog.firmware import wire
from tautlog.model.readbacks import reason_text

OPENING_S = 6.0  # longest wait for the switch after the release command
STORING_S = 3.0
NOT_ARMED_S = 3.0  # longest wait for the event of a board that says that it is armed no more
UNASKED = ReadinessFinding(
    "unasked-release",
    False,
    "THE RELEASE OPENED ALTHOUGH IT WAS NOT COMMANDED",
    "no release was sent",
    "the drop is recorded; find out what let go before hoisting the sled again",
)
HANGS = "; the sled may still hang: stay clear until it is pinned"


class Armed:
    """An armed board, until its sled is released.

    Parameters
    ----------
    watch : Watch
        The drop.

    Attributes
    ----------
    late : str
        Why the drop was called off too late, after the release, or "".
    """

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._session = watch.session
        self._plan = watch.plan
        self._crew = watch.crew
        self._stop = watch.stop
        self._receiver = watch.receiver
        self.late = ""
        self._armed_s = self._session.clock()  # when the board last said that it is

    def until_released(self) -> None:
        """Count down and release, or wait for the release by hand.

        Raises
        ------
        AbortedError
            If the drop was called off.
        """
        self._until_storing()
        self._crew.armed(self._plan.by_hand)
        if not self._plan.by_hand:
            self._count_down()
            self._heed()
            self._must_be_at_rest(self._watch.level.in_doubt)
            if self._watch.released() is None:
                self._watch.writer.reception.release_sent = True
                self._session.send(wire.RELEASE, self._watch.grant.token)
        deadline = self._watch.deadline(OPENING_S)
        while (opened := self._watch.released()) is None:
            # After the command, a failure of the display no longer matters.
            self._step_armed(shown=self._plan.by_hand)
            if not self._plan.by_hand and self._session.clock() > deadline:
                self._call_off("the board did not report the release")
        self._stop.released()
        self._crew.released(opened)
        if not self._plan.by_hand and not self._watch.writer.reception.release_sent:
            self._crew.found([UNASKED])

    def _until_storing(self) -> None:
        """Wait for the first acknowledged blocks: without storing there is no countdown."""
        deadline = self._watch.deadline(STORING_S)
        while self._receiver.acked <= self._watch.grant.armed and self._watch.released() is None:
            self._step_armed()
            if self._session.clock() > deadline:
                self._call_off("no samples reach the disk")

    def _count_down(self) -> None:
        end_s = self._session.clock() + self._plan.countdown_s / self._plan.speed
        while (left_s := end_s - self._session.clock()) > 0 and self._watch.released() is None:
            self._crew.count(left_s * self._plan.speed)
            self._step_armed()

    def _step_armed(self, *, shown: bool = True) -> None:
        self._receiver.step()
        self._heed(shown=shown)
        if self._watch.released() is None:
            self._must_be_armed()
            self._must_be_at_rest(self._watch.level.lost)

    def _must_be_armed(self) -> None:
        """Call the drop off if the board no longer streams, or says that it is not armed."""
        if silent := self._watch.fallen_silent():
            self._call_off(silent)
            return
        status, now_s = self._receiver.status, self._session.clock()
        if status is None or status.state == "armed":
            self._armed_s = now_s
        elif now_s > self._armed_s + NOT_ARMED_S * self._session.scale:
            self._call_off(f"the board says that it is {status.state}, and not why")

    def _must_be_at_rest(self, off: str) -> None:
        """Call the drop off if a force signal is not at rest; not once the release was sent.

        A board that says that it records has released: its event is on the way.
        """
        status, sent = self._receiver.status, self._watch.writer.reception.release_sent
        recording = status is not None and status.state in ("recording", "held")
        if off and not sent and not recording and self._watch.released() is None:
            self._call_off(off)

    def _heed(self, *, shown: bool = True) -> None:
        """Call the drop off on request, or if the display failed."""
        if self._watch.released() is not None:
            return
        if self._stop.asked:
            self._call_off(self._stop.why)
        elif shown and self._crew.failure:
            self._call_off(f"the display failed ({self._crew.failure})")
        for name in ("went-safe", "refused"):
            event = self._receiver.event(name)
            if event is not None and self._watch.released() is None:
                self._call_off(
                    reason_text(event.value), after_event(self._plan.permit, event.value)
                )

    def _call_off(self, why: str, more: str = "") -> None:
        """Order the board into state safe and raise; return if the sled is already released.

        `more` is said behind the state of the board.
        """
        more = f". {more[0].upper()}{more[1:]}" if more else ""
        self._session.send(wire.ABORT)
        deadline = self._watch.deadline(STORING_S)
        while self._session.clock() < deadline and not self._stop.left:
            self._receiver.step()
            status = self._receiver.status
            if self._watch.released() is not None:
                self.late = why
                return
            if status is not None and status.state == "safe":
                low = not status.outputs & wire.OUTPUT_DRIVE
                state = SAFE if low else "The board is in state safe, THE RELEASE DRIVE IS NOT LOW"
                raise AbortedError(f"drop called off: {why}. {state}{HANGS}{more}")
        raise AbortedError(f"drop called off: {why}. {UNKNOWN}{more}")

    def abort(self, problem: BaseException) -> NoReturn:
        """Never leave the board armed after a fault before the release."""
        if not isinstance(problem, AbortedError):  # that one has done so already
            state = make_safe(self._watch.session)
            if state is RELEASED:
                leave(self._watch, problem)
            if isinstance(problem, RecordError):
                hangs = HANGS if state is SAFE else ""
                problem = reworded(problem, f"drop called off: {problem}. {state}{hangs}")
        with self._watch.writer:
            raise problem
