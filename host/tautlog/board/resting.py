"""Resting: a force channel of a board at rest, read again and again while people hang weights."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from tautlog.board.at_rest import AtRest
from tautlog.board.converter_fit import converter_findings
from tautlog.board.finding import ReadinessFinding
from tautlog.board.health import Health, read_health
from tautlog.board.session import Session
from tautlog.board.stillness import Stillness, agree
from tautlog.errors import CalibrationError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument

STEADY_READINGS = 3  # consecutive readings that must agree
MOST_READINGS = 40
SHUNT_BACK = 0.02  # largest change of the level, as a fraction of the step
SHUNT_BACK_V = 2e-3  # and in volts, if there is no step
# Findings after which a reading says nothing, whatever hangs.
UNREADABLE = ("at-rail", "too-quiet", "converter-bits", "data-stuck", "reference-impossible")


@dataclass(frozen=True)
class Look:
    """One reading of a channel, and whether it may be taken.

    Attributes
    ----------
    level_v, noise_v : float
        Mean of this reading at the converter, and its rms noise.
    at_s : float
        End of the reading, in seconds on the board's clock.
    volt : float or None
        Mean of the last readings once they show one level, see `stillness`; None until then.
    problem : str
        Why the reading cannot be believed: at a limit, dead, conversions lost; or "".
    zero_problem : str
        Why it cannot be the reading without force, by the zero that is known; or "".
    converter_problem : str
        Why the calibration's volts are not those of this board's converter; or "".
    """

    level_v: float
    noise_v: float
    at_s: float
    volt: float | None = None
    problem: str = ""
    zero_problem: str = ""
    converter_problem: str = ""

    @property
    def why_not(self) -> str:
        """Why it may not be taken as a point, in words; "" if it may."""
        if self.problem:
            return self.problem
        if self.volt is None:
            return (
                f"the reading is not steady ({self.level_v:.4f} V now; {STEADY_READINGS} in a row "
                "must show one level): let everything hang still"
            )
        return ""

    def require(self) -> float:
        """Its voltage.

        Raises
        ------
        CalibrationError
            If it may not be taken.
        """
        if self.volt is None or self.why_not:
            raise CalibrationError(self.why_not)
        return self.volt


class Looking(Protocol):
    """Whatever can be read at rest; `Resting` is it."""

    def look(self) -> Look:
        """One reading."""


class Resting:
    """One force channel of a board at rest. The board streams in state safe only.

    Parameters
    ----------
    session : Session
        The board, greeted.
    calibration : Calibration
        Gives limits and noise of the chain; that of the channel.
    column : int
        The channel: its place in the board's CHANNELS.
    zero_v : float or None
        Its output without force, if the calibration does not know it but the amplifier does.
    """

    def __init__(
        self,
        session: Session,
        calibration: Calibration,
        column: int = 0,
        zero_v: float | None = None,
    ) -> None:
        self._session = session
        self.calibration = calibration
        self._zero_v = zero_v if calibration.zero_v is None else calibration.zero_v
        self._column = column
        self._last: deque[tuple[Health, str]] = deque(maxlen=STEADY_READINGS)

    @property
    def board(self) -> Instrument:
        """The board, from its greeting."""
        return self._session.instrument

    def look(self) -> Look:
        """One reading, with those before it.

        Raises
        ------
        LinkError, LinkTimeoutError
            If the board is gone.
        RefusedError
            If it is not in state safe.
        """
        health = read_health(self._session, self.calibration, self._column)
        self._last.append((health, self._problem(health)))
        return Look(
            health.level_v,
            health.noise_v,
            health.ended_s,
            self._agreed(),
            # What is wrong with one of the readings is wrong with their mean.
            next((problem for _, problem in reversed(self._last) if problem), ""),
            _text(one for one in self._at_rest(health).level() if one.refuses),
            _text(
                one
                for one in converter_findings(self.calibration, self.board, health)
                if one.refuses
            ),
        )

    def moved(self) -> None:
        """Forget the readings so far: somebody works at the rig."""
        self._last.clear()

    def settled(self) -> Look:
        """The first look whose last readings agree, whatever they show.

        Raises
        ------
        CalibrationError
            If they never agree.
        """
        self.moved()
        seen = []
        for _ in range(MOST_READINGS):
            look = self.look()
            seen.append(look.level_v)
            if look.volt is not None:
                return look
        raise CalibrationError(
            f"the reading is not steady after {MOST_READINGS} tries ({min(seen):.4f} to "
            f"{max(seen):.4f} V): let everything hang still"
        )

    def _agreed(self) -> float | None:
        """Mean of the last readings, if they show one level."""
        last = [health for health, _ in self._last]
        still = [one.stillness or Stillness((one.level_v,)) for one in last]
        if len(last) < STEADY_READINGS or not agree(still):
            return None
        return float(np.mean([health.level_v for health in last]))

    def _at_rest(self, health: Health) -> AtRest:
        # The converter that is there tells how still is too still, not the one that was assumed.
        there = replace(self.calibration, converter_bits=self.board.converter_bits, converter="")
        name = self.board.channels[self._column] if self._column else ""
        return AtRest(
            name,
            there,
            self.board.reduction,
            health.level_v,
            health.noise_v,
            self._zero_v,
        )

    def _problem(self, health: Health) -> str:
        """Why a reading cannot be believed, whatever hangs."""
        rest = self._at_rest(health)
        findings = (
            *rest.level(),
            *rest.quiet(),
            *converter_findings(self.calibration, self.board, health),
        )
        found = [one.text for one in findings if one.code.removeprefix("leg-") in UNREADABLE]
        if health.lost_now:
            found.append(
                f"{health.lost_now} conversions were lost in this reading: read again; if it goes "
                "on, see `tautlog health`"
            )
        if health.drive_on:
            found.append(
                "the release drive is high although the board says that it is safe: key off, and "
                "find out why before anybody goes near the rig"
            )
        return "; ".join(found)


def read_shunt_step(session: Session, calibration: Calibration) -> float:
    """Volts by which the shunt resistor raises the reading; the shunt is off on return.

    Raises
    ------
    CalibrationError
        If a reading is not steady, or does not return after the shunt is off.
    RefusedError
        If the board is not in state safe, or its firmware has no shunt.
    """
    resting = Resting(session, calibration)
    off_v = _steady_v(resting)
    session.ask("shunt", on=True)
    try:
        on_v = _steady_v(resting)
    finally:
        session.ask("shunt", on=False)
    # A board does not arm while the samples that it checks still contain the step back.
    back_v = resting.look().level_v
    step_v = on_v - off_v
    if abs(back_v - off_v) > max(SHUNT_BACK * abs(step_v), SHUNT_BACK_V):
        raise CalibrationError(
            f"the level was {off_v:.4f} V before the shunt and {back_v:.4f} V after it: let "
            "everything hang still"
        )
    return step_v


def _steady_v(resting: Resting) -> float:
    """A steady level, also one at a limit: the shunt's step tells what that means."""
    volt = resting.settled().volt
    assert volt is not None
    return volt


def _text(findings: Iterable[ReadinessFinding]) -> str:
    return "; ".join(finding.text for finding in findings)
