"""Live pull: a static pull of a mount, read by the board's cell while it is held."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tautlog.board.resting import Look, Resting
from tautlog.campaign.at_the_board import at_rest
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.own_board import require_own_board
from tautlog.campaign.proof_words import ProofTold, mount_to_prove, told
from tautlog.campaign.proofs import LEAST_HELD_S, add_proof
from tautlog.campaign.pull import Dial, Pull, begin, proof_from, target_n
from tautlog.desk import live
from tautlog.desk.at_board import AtBoardOrder
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, piece, visitor_of
from tautlog.errors import CampaignError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units

KIND = "a proof pull"
ADDRESS = "/proof/live"
DIAL = (
    ("before_mm", "gauge before"),
    ("under_mm", "under the force"),
    ("after_mm", "after"),
)


@dataclass(frozen=True)
class PullWork:
    """A pull of a mount; see `at_board.Work`.

    Attributes
    ----------
    campaign_now : callable
        The campaign as it stands, as the channel sees it.
    mount : str
        The mount.
    target_n : float
        Force to hold.
    pull : Pull or None
        The pull; None before the slack line was read.
    found : ProofTold or None
        What the proof that was entered means.
    units : Units
        Units in which it is shown.
    """

    campaign_now: Callable[[], Campaign]
    mount: str
    target_n: float
    pull: Pull | None = None
    found: ProofTold | None = None
    units: Units = SI

    @property
    def ended(self) -> str:
        """See `Work`."""
        return "; ".join(self.found.lines) if self.found else ""

    @property
    def good(self) -> bool:
        """See `Work`."""
        return self.found is not None and not self.found.mount_failed

    @property
    def lost(self) -> str:
        """See `Work`."""
        if self.found or self.pull is None or self.pull.best is None:
            return ""
        peak = self.units.text(self.pull.peak_n, "N")
        return (
            f"{self.mount} was pulled to {peak}, held {self.pull.held_s:.0f} s, "
            "and no proof is entered: enter it by hand, also if it failed"
        )

    @property
    def live(self) -> Mapping[str, str]:
        """See `Work`."""
        pull = self.pull
        if pull is None:
            return {}
        units = self.units
        return {
            "force": "not known" if pull.force_n is None else units.text(pull.force_n, "N"),
            "held": f"{pull.now.held_s:.0f} s" if pull.now else "0 s",
            "left": f"{pull.left_s:.0f} s" if pull.left_s else "long enough",
            "longest": f"{pull.held_s:.0f} s",
            "peak": units.text(pull.peak_n, "N"),
            "counts": units.text(pull.counts_n, "N"),
            "state": pull.problem or ("holds" if pull.now else "does not hold"),
        }

    def met(self, resting: Resting) -> PullWork:
        """See `Work`."""
        require_own_board(self.campaign_now(), resting.board, "a proof")
        return self

    def seen(self, look: Look) -> PullWork:
        """See `Work`."""
        return self if self.pull is None else replace(self, pull=self.pull.seen(look))

    def obeyed(self, fields: Mapping[str, str], look: Look | None) -> PullWork:
        """Take the slack line's reading, or enter the proof."""
        entered, do = Entered(dict(fields)), fields.get("do")
        if do == "zero" and self.pull is None:
            if look is None:
                raise CampaignError("no board answers: connect it again")
            return replace(self, pull=begin(self.campaign_now(), look, self.target_n))
        if do == "enter" and self.pull is not None:
            return self._entered(self.pull, entered)
        raise CampaignError("take the reading of the slack line first, then pull, then enter it")

    def _entered(self, pull: Pull, entered: Entered) -> PullWork:
        campaign = self.campaign_now()
        dial = Dial(**{name: entered.number(name, q.DIAL_MM) for name, _ in DIAL})
        mount = mount_to_prove(campaign, self.mount)
        made = proof_from(pull, mount, entered.text("by"), dial, entered.text("note"))
        added = add_proof(campaign.folder, made, rehearsed=campaign.rehearsed)
        found = told(campaign, made, added.number)
        doubt = (f"LOOK: {added.doubt}",) if added.doubt else ()
        return replace(self, found=replace(found, lines=(*found.lines, *doubt)))


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page."""
    campaign, _ = desk_of(request).campaign_or_why()
    return live.shown(
        request,
        "pull.html",
        said,
        entered,
        task="proof",
        mounts=[mount.name for mount in campaign.mounts] if campaign else [],
        planned_n=campaign.setup.upper_n if campaign else None,
        aim_n=target_n(campaign) if campaign else None,
        factor=campaign.decision.proof_factor if campaign else None,
        dial=DIAL,
        **_content(request),
    )


def readings(request: Request) -> Response:
    """The pull so far, for a page that is open."""
    token = visitor_of(request).form_token
    return piece(request, "pull_readings.html", token=token, **_content(request))


def _content(request: Request) -> dict[str, object]:
    found = live.live_of(request, KIND)
    work = found.work(PullWork)
    return {
        "kind": KIND,
        "address": ADDRESS,
        "live": found,
        "work": work,
        "pull": work.pull if work else None,
        "least_s": f"{LEAST_HELD_S:g}",
    }


def enter(request: Request, entered: Entered) -> Response:
    """Begin, or say something to what is under way."""
    try:
        live.begun_or_said(request, entered, _begin)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return RedirectResponse(ADDRESS, 303)


def _begin(request: Request, entered: Entered) -> None:
    desk, channel = desk_of(request), entered.text("channel")
    campaign = desk.campaign().for_channel(channel)
    mount = mount_to_prove(campaign, entered.text("mount"))
    aim_n = entered.number("target_n", q.PULL) or target_n(campaign)
    if aim_n is None:
        raise CampaignError("say how far to pull: campaign.toml plans no peak")

    def campaign_now() -> Campaign:
        return desk.campaign().for_channel(channel)

    order = AtBoardOrder(
        KIND,
        PullWork(campaign_now, mount.name, aim_n, units=campaign.units),
        live.port_of(campaign),
        lambda session: at_rest(session, campaign_now(), channel),
    )
    live.begin(request, order)
