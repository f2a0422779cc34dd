"""Live calibration: weights hung on the board that is there, point after point, then kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.board.resting import Look, Resting
from tautlog.calibrate.series import Series, known_load_n
from tautlog.campaign.at_the_board import at_rest, new_series
from tautlog.campaign.calibrations import doubts_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.new_calibration import residuals_head
from tautlog.desk import live
from tautlog.desk.at_board import AtBoardOrder
from tautlog.desk.calibration import (
    Fitted,
    files_of,
    fitted,
    gravity_in,
    keep,
    wanted,
)
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, piece, visitor_of
from tautlog.errors import CalibrationError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.timestamp import today
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

KIND = "a calibration with weights"
ADDRESS = "/calibrate/live"


@dataclass(frozen=True)
class CalibrationWork:
    """A calibration that is being made; see `at_board.Work`.

    Attributes
    ----------
    campaign_now : callable
        The campaign as it stands, as the channel sees it.
    gravity_m_s2 : float
        Local gravity.
    series : Series or None
        Points so far; None before a board answered.
    ended : str
        Where it is kept, once it is.
    """

    campaign_now: Callable[[], Campaign]
    gravity_m_s2: float
    series: Series | None = None
    ended: str = ""

    @property
    def good(self) -> bool:
        """See `Work`."""
        return bool(self.ended)

    @property
    def lost(self) -> str:
        """See `Work`."""
        taken = len(self.series.points) if self.series else 0
        if self.ended or not taken:
            return ""
        return (
            f"{taken} points were taken and are not kept; they are shown until the board is used "
            "again, and can be typed into the table by hand"
        )

    @property
    def live(self) -> Mapping[str, str]:
        """See `Work`."""
        return {}

    def met(self, resting: Resting) -> CalibrationWork:
        """See `Work`."""
        if self.series is not None:
            return self
        return replace(self, series=new_series(self.campaign_now(), resting))

    def seen(self, look: Look) -> CalibrationWork:
        """See `Work`."""
        return self

    def obeyed(self, fields: Mapping[str, str], look: Look | None) -> CalibrationWork:
        """Take a point, take one back, or keep the calibration."""
        if self.series is None:
            raise CalibrationError("no board has answered yet")
        entered, do = Entered(dict(fields)), fields.get("do")
        if do == "take":
            return replace(self, series=self._taken(self.series, entered, look))
        if do == "back":
            number = entered.text("point")
            place = int(number) if number.isascii() and number.isdigit() and len(number) < 4 else 0
            return replace(self, series=self.series.take_back(place, entered.text("why")))
        if do == "keep":
            return self._kept(self.series, entered)
        raise CalibrationError("say what is to be done: take, take back, keep or stop")

    def _taken(self, series: Series, entered: Entered, look: Look | None) -> Series:
        if look is None:
            raise CalibrationError("no board answers: connect it again")
        load_n = known_load_n(
            entered.number("mass_kg", q.WEIGHT),
            entered.number("force_n", q.LOAD),
            self.gravity_m_s2,
        )
        return series.take(look, load_n)

    def _kept(self, series: Series, entered: Entered) -> CalibrationWork:
        campaign = self.campaign_now()
        note = series.note(entered.text("note"))
        made = wanted(campaign, series.points, series.base, entered, note)
        path = keep(campaign, made, entered)
        return replace(self, ended=f"kept as {path.name}, and in force")


@dataclass(frozen=True)
class Fit:
    """The points so far, and what they give.

    Attributes
    ----------
    looked : Fitted or None
        The calibration that they would give.
    why : str
        Why they give none yet.
    """

    looked: Fitted | None
    why: str


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page."""
    campaign, _ = desk_of(request).campaign_or_why()
    return live.shown(
        request,
        "calibrate_live.html",
        said,
        entered,
        task="calibrate",
        files=[file.path.name for file in files_of(campaign)],
        day=today(),
        gravity=f"{STANDARD_GRAVITY_M_PER_S2:g}",
        **_content(request),
    )


def points(request: Request) -> Response:
    """The points so far and their fit, for a page that is open."""
    token = visitor_of(request).form_token
    return piece(request, "calibrate_points.html", token=token, **_content(request))


def _content(request: Request) -> dict[str, object]:
    found = live.live_of(request, KIND)
    work = found.work(CalibrationWork)
    series = work.series if work else None
    return {
        "kind": KIND,
        "address": ADDRESS,
        "live": found,
        "series": series,
        "fit": _fit(work),
        "head": residuals_head(desk_of(request).units),
    }


def _fit(work: CalibrationWork | None) -> Fit:
    if work is None or work.series is None or not work.series.points:
        return Fit(None, "")
    series = work.series
    try:
        campaign = work.campaign_now()
        made = wanted(campaign, series.points, series.base, Entered({}), "")
        return Fit(fitted(made, doubts_of(campaign, made), campaign.units), "")
    except TautlogError as problem:
        return Fit(None, str(problem))


def enter(request: Request, entered: Entered) -> Response:
    """Begin, or say something to what is under way."""
    try:
        live.begun_or_said(request, entered, _begin)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    done = "?done=calibration" if entered.text("do") == "keep" else ""
    return RedirectResponse(ADDRESS + done, 303)


def _begin(request: Request, entered: Entered) -> None:
    desk, channel = desk_of(request), entered.text("channel")
    campaign = desk.campaign().for_channel(channel)

    def campaign_now() -> Campaign:
        return desk.campaign().for_channel(channel)

    order = AtBoardOrder(
        KIND,
        CalibrationWork(campaign_now, gravity_in(entered)),
        live.port_of(campaign),
        lambda session: at_rest(session, campaign_now(), channel),
    )
    live.begin(request, order)
