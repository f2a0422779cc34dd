"""Live hanging: the check that the chain reads the weight of the sled that hangs on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.board.resting import Look, Resting
from tautlog.calibrate.hanging import FAILED, MASS_MISSING, Hanging, hanging
from tautlog.campaign.at_the_board import at_rest
from tautlog.desk import live
from tautlog.desk.at_board import AtBoardOrder
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, piece, visitor_of
from tautlog.errors import CalibrationError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units

KIND = "a hanging check"
ADDRESS = "/calibrate/hanging"


@dataclass(frozen=True)
class HangingWork:
    """A hanging check; see `at_board.Work`.

    Attributes
    ----------
    mass_kg : float
        Mass of the sled.
    calibration : Calibration or None
        That in force; None before a board answered.
    slack : Look or None
        Reading of the slack line.
    found : Hanging or None
        What was found.
    units : Units
        Units in which it is shown.
    """

    mass_kg: float
    calibration: Calibration | None = None
    slack: Look | None = None
    found: Hanging | None = None
    units: Units = SI

    @property
    def ended(self) -> str:
        """See `Work`."""
        if self.found is None:
            return ""
        said = self.found.said(self.units)
        return said if self.found.holds else f"{said}; {FAILED}"

    @property
    def good(self) -> bool:
        """See `Work`."""
        return self.found is not None and self.found.holds

    @property
    def lost(self) -> str:
        """See `Work`."""
        return "the check was not finished" if self.slack else ""

    @property
    def live(self) -> Mapping[str, str]:
        """See `Work`."""
        return {}

    def met(self, resting: Resting) -> HangingWork:
        """See `Work`."""
        return replace(self, calibration=resting.calibration)

    def seen(self, look: Look) -> HangingWork:
        """See `Work`."""
        return self

    def obeyed(self, fields: Mapping[str, str], look: Look | None) -> HangingWork:
        """Take the reading of the slack line, then that of the hanging sled."""
        if look is None or self.calibration is None:
            raise CalibrationError("no board answers: connect it again")
        if fields.get("do") == "slack":
            look.require()
            return replace(self, slack=look)
        if fields.get("do") == "hung" and self.slack is not None:
            return replace(self, found=hanging(self.slack, look, self.calibration, self.mass_kg))
        raise CalibrationError("take the reading of the slack line first, then that of the sled")


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page."""
    return live.shown(request, "hanging.html", said, entered, task="calibrate", **_content(request))


def readings(request: Request) -> Response:
    """The readings so far, for a page that is open."""
    token = visitor_of(request).form_token
    return piece(request, "hanging_readings.html", token=token, **_content(request))


def _content(request: Request) -> dict[str, object]:
    found = live.live_of(request, KIND)
    return {"kind": KIND, "address": ADDRESS, "live": found, "work": found.work(HangingWork)}


def enter(request: Request, entered: Entered) -> Response:
    """Begin, or say something to what is under way."""
    try:
        live.begun_or_said(request, entered, _begin)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse(ADDRESS, 303)


def _begin(request: Request, entered: Entered) -> None:
    channel = entered.text("channel")
    campaign = desk_of(request).campaign().for_channel(channel)
    mass_kg = entered.number("mass_kg", q.MASS, campaign.setup.mass_kg) or campaign.setup.mass_kg
    if not mass_kg:
        raise CalibrationError(MASS_MISSING)
    order = AtBoardOrder(
        KIND,
        HangingWork(mass_kg, units=campaign.units),
        live.port_of(campaign),
        lambda session: at_rest(session, campaign, channel),
    )
    live.begin(request, order)
