"""Crew at the desk: what a drop tells its people, and asks them, through the desk's pages."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tautlog.board.finding import ReadinessFinding
from tautlog.board.health import Health
from tautlog.desk.drop_stands import DropStands, Phase
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.orders import Telling, Word
from tautlog.drop.crew import PHRASE, phrase_holds
from tautlog.errors import CampaignError, NotNowError
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import PathCheck
from tautlog.model.origin import MARK, board_is_rehearsed
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup

PHRASE_S = 90.0  # readings older than that are read again
LOOK_S = 0.1
ENDING = (
    "ending early: the board completes its guarded window; pressed {more} more times, the event is "
    "left to the board"
)


class DeskCrew:
    """A crew that sees and types on the desk's pages; see `drop.crew.Crew`.

    Parameters
    ----------
    told : Telling
        Hears the crew, and tells its pages.
    stands : DropStands
        How the drop stands so far.
    trace : DropTrace
        Shows the samples.
    calibration : Calibration
        Turns counts into forces.
    units : Units
        Units in which it is shown.
    """

    def __init__(
        self,
        told: Telling,
        stands: DropStands,
        trace: DropTrace,
        calibration: Calibration,
        units: Units = SI,
    ) -> None:
        self._units = units
        self.stands = stands
        self._told = told
        self._trace = trace
        self._calibration = calibration
        self._clock: Callable[[], float] = time.monotonic

    def now(self, *, anew: bool = True, **changes: Any) -> None:
        """Tell how it stands."""
        self.stands = replace(self.stands, **changes)
        self._told.stands(self.stands, anew=anew)

    def say(self, text: str) -> None:
        """Show a line."""
        self.now(said=(*self.stands.said, text))

    def met(self, instrument: Instrument, health: Health) -> None:
        """Show the board and what it reads, and begin to show samples."""
        self._trace.begin(instrument, self._calibration)
        self.now(**at_rest(instrument, health, self._units))
        if self._trace.legs > 1:
            self.say(f"the curve shows {instrument.channels[0]!r} alone, not the sum of the legs")

    def found(self, findings: list[ReadinessFinding]) -> None:
        """Show what is in doubt; a refusal speaks for itself."""
        doubts = [f"LOOK: {one.text}" for one in findings if not one.refuses]
        self.now(said=(*self.stands.said, *doubts))

    def agree(self, setup: DropSetup) -> bool:
        """Wait for the phrase of the session that gave the order."""
        self._told.refuse_early()
        self.now(phase=Phase.PHRASE, setup=setup, hears=True)
        until_s = self._clock() + PHRASE_S
        while self._clock() < until_s and not self._told.closing:
            words = self._told.words(LOOK_S)
            for at, word in enumerate(words):
                if word.fields.get("do") == "stop":
                    self._hears_no_more(words[at + 1 :])
                    word.answer.set_result(None)
                    return False
                if word.fields.get("do") == "arm" and phrase_holds(word.fields.get("phrase", "")):
                    self._hears_no_more(words[at + 1 :])
                    word.answer.set_result(None)
                    return True
                word.answer.set_exception(
                    CampaignError(f"not armed: type the phrase, {PHRASE!r}, letter by letter")
                )
        return False

    def _hears_no_more(self, unheard: list[Word]) -> None:
        """From now on words are refused at once; what is on its way is refused as well."""
        self.now(anew=False, hears=False)
        for word in (*unheard, *self._told.words()):
            word.answer.set_exception(NotNowError("this was answered already: see the page"))

    def armed(self, by_hand: bool) -> None:
        """Show that it is armed; what was said before has been seen."""
        self.now(phase=Phase.ARMED, said=(), count="pull the pin" if by_hand else "")

    def count(self, left_s: float) -> None:
        """Show whole seconds."""
        self._count(str(math.ceil(left_s)))

    def released(self, opened: BoardEvent) -> None:
        """Show that the switch opened."""
        self.now(phase=Phase.RELEASED, count="")

    def received(self, since_release_s: float, of_s: float) -> None:
        """Show progress."""
        self._count(f"{since_release_s:.0f} of {of_s:.0f} s")

    def ending(self, more: int) -> None:
        """Say that ending takes a while."""
        self.say(ENDING.format(more=more))

    def block(self, block: Block) -> None:
        """Hand a block to the trace."""
        self._trace.take(block)

    def _count(self, text: str) -> None:
        if text != self.stands.count:
            self.now(anew=False, count=text)


def named(board: Instrument) -> dict[str, Any]:
    """Which board answered, as fields of `DropStands`."""
    return {
        "board": f"{board.board}, {board.serial}, {board.sample_rate_hz:g} samples/s",
        "rehearsed": MARK if board_is_rehearsed(board.board, board.serial) else "",
    }


def at_rest(board: Instrument, health: Health, units: Units = SI) -> dict[str, Any]:
    """What a board at rest shows, as fields of `DropStands`."""
    hum = ""
    if health.mains_hz is not None:
        hum = f", hum {units.text(health.mains_n, 'N', '.2f')} at {health.mains_hz:g} Hz"
    open_names = health.open_readbacks
    return {
        **named(board),
        "readings": (
            ("level", f"{health.level_v:.3f} V"),
            ("noise, rms", f"{units.text(health.noise_n, 'N', '.2f')}{hum}"),
            ("to the limit", units.text(health.rail_distance_n, "N")),
            ("conversions lost", str(health.lost)),
        ),
        "contacts": (
            ("latched" if health.latched else "NOT LATCHED", health.latched),
            ("key on" if health.key_on else "KEY OFF", health.key_on),
            _wire("article", health.article_whole),
            _wire("mount", health.mount_whole),
            *(
                (
                    f"{one.name} {'OPEN' if one.name in open_names else 'made'}",
                    one.name not in open_names,
                )
                for one in board.readbacks
            ),
        ),
    }


def _wire(name: str, whole: bool) -> tuple[str, bool]:
    return f"wire of the {name} {'whole' if whole else 'OPEN'}", whole


def as_check(finding: ReadinessFinding) -> PathCheck:
    """A finding of the readings, as a page lists it."""
    return PathCheck(finding.code, False, finding.text, refuses=finding.refuses)
