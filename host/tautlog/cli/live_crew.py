"""A crew at a terminal, with a window that shows the drop as it happens."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from tautlog.archive.verdict_lines import quick_look
from tautlog.cli.console import ConsoleCrew
from tautlog.display.live import LiveFeed
from tautlog.errors import TautlogError
from tautlog.model.channels import FORCE, columns_of
from tautlog.model.display_units import SI, Units
from tautlog.model.verdict_words import words

if TYPE_CHECKING:
    from tautlog.archive.assessment import Assessment
    from tautlog.board.health import Health
    from tautlog.model.calibration import Calibration
    from tautlog.model.marks import Marks
    from tautlog.model.shown import Shown
    from tautlog.model.stream import Block, BoardEvent, Instrument
    from tautlog.model.trace import DropSetup


class LiveCrew(ConsoleCrew):
    """A crew whose messages also go to the window.

    Parameters
    ----------
    feed : LiveFeed
        The window.
    calibration : Calibration
        Turns counts into forces.
    record_s : float
        Duration of the recording after the release.
    yes, quiet, units : bool, bool, Units
        As for `ConsoleCrew`.
    """

    def __init__(
        self,
        feed: LiveFeed,
        calibration: Calibration,
        record_s: float,
        *,
        yes: bool,
        quiet: bool,
        units: Units = SI,
    ) -> None:
        super().__init__(yes=yes, quiet=quiet, units=units)
        self._feed = feed
        self._calibration = calibration
        self._record_s = record_s
        self._rate_hz = 1.0
        self._recording = False
        self._missed = False

    def met(self, instrument: Instrument, health: Health) -> None:
        """Start to show samples: the board has been greeted."""
        super().met(instrument, health)
        if len(columns_of(instrument.channels, FORCE)) > 1:
            self.say(f"LOOK: the live window shows {instrument.channels[0]!r} alone, not the sum")
        self._rate_hz = instrument.sample_rate_hz
        self._feed.meet(instrument, self._calibration)
        self._feed.send("state", word="NOT ARMED", text="")

    def agree(self, setup: DropSetup) -> bool:
        """Show target and limit, then ask."""
        what = ", ".join(
            text
            for text in (
                self.units.text(setup.mass_kg, "kg", "g") if setup.mass_kg else "",
                self.units.text(setup.height_m, "m", "g") if setup.height_m else "",
                setup.article,
            )
            if text
        )
        levels = {"target_n": setup.target_n, "limit_n": setup.upper_n}
        unit = self.units.force
        self._feed.send("drop", record_s=self._record_s, force_unit=unit, **levels)
        self._feed.send("state", word="NOT ARMED", text=what)
        return super().agree(setup)

    def armed(self, by_hand: bool) -> None:
        """Show that the board is armed."""
        super().armed(by_hand)
        self._feed.send("state", word="ARMED", text="by hand" if by_hand else "")

    def count(self, left_s: float) -> None:
        """Show whole seconds, large."""
        before = self._count
        super().count(left_s)
        if self._count != before:
            self._feed.send("state", word=f"ARMED  {self._count}", text="")

    def released(self, opened: BoardEvent) -> None:
        """Show that the switch opened."""
        super().released(opened)
        self._feed.send("release", time_s=opened.sample_index / self._rate_hz)
        self._feed.send("state", word="RELEASED", text="")

    def received(self, since_release_s: float, of_s: float) -> None:
        """Show once that it is recording."""
        super().received(since_release_s, of_s)
        if not self._recording:
            self._recording = True
            self._feed.send("state", word="RECORDING", text="stay out")
        if self._feed.gone and not self._missed:
            self._missed = True
            self.say("the live window is gone; the drop goes on without it")

    def block(self, block: Block) -> None:
        """Show samples that are on their way to the disk."""
        self._feed.block(block)

    def judged(self, assessment: Assessment) -> None:
        """Show the quick look, in the same words as everywhere."""
        marks, verdict = assessment.marks, assessment.verdict
        peak = assessment.shown(marks)
        from_s, to_s = _contact_since_release(marks)
        self._feed.send(
            "verdict",
            word=words(verdict.load_verdict).split(" (")[0],
            text=f"{words(verdict.record_verdict)}; {words(verdict.trace_says)}",
            peak=peak.text if peak else "no peak",
            peak_text=_around(peak) + assessment.curve.name,
            lines=quick_look(assessment),
            from_s=from_s,
            to_s=to_s,
        )

    def failed(self) -> None:
        """Show that there is no result; the terminal says why."""
        self._feed.send("state", word="NO RESULT", text="see the terminal")


def _around(peak: Shown | None) -> str:
    return f"{peak.around.strip()}, " if peak and peak.spread else ""


def _contact_since_release(marks: Marks) -> tuple[float | None, float | None]:
    """Begin and end of the contact in seconds since the release; None if either is not known."""
    release_s, onset_s = marks.release_time_s, marks.onset_time_s
    slack_s = marks.break_time_s or marks.slack_time_s
    if release_s is None or onset_s is None or slack_s is None:
        return None, None
    return onset_s - release_s, slack_s - release_s


@contextlib.contextmanager
def crew_for(
    calibration: Calibration,
    record_s: float,
    *,
    live: bool,
    yes: bool,
    quiet: bool,
    units: Units = SI,
) -> Iterator[ConsoleCrew]:
    """A crew at the terminal, with a live window on request.

    The window stays after the command has ended, until somebody closes it.

    Raises
    ------
    ScreenError
        If no window can be opened; no board has been asked yet.
    """
    if not live:
        yield ConsoleCrew(yes=yes, quiet=quiet, units=units)
        return
    feed = LiveFeed.open()
    crew = LiveCrew(feed, calibration, record_s, yes=yes, quiet=quiet, units=units)
    try:
        yield crew
    except (TautlogError, KeyboardInterrupt):
        crew.failed()
        raise
    finally:
        feed.close()
