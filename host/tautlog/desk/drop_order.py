"""Order of a drop: the board at rest is read, then, when the crew says so, the drop is done.

It is `tautlog drop` with other eyes and hands: the same permit, the same conduct, the same marks.
Ctrl-C at the desk's terminal and the button of the page are one signal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from tautlog.archive.assessment import Assessment
from tautlog.archive.verdict_lines import quick_look
from tautlog.board.link import SerialLink
from tautlog.board.readiness import findings
from tautlog.board.session import Session
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.drop_setup import DropRequest, setup_from
from tautlog.campaign.fitted_shunt import shunt_of
from tautlog.campaign.zone import confirm_at_rest, note_held, stay_out_now
from tautlog.desk.desk import address_of
from tautlog.desk.drop_crew import DeskCrew, as_check, at_rest, named
from tautlog.desk.drop_held import HELD, fetch_held
from tautlog.desk.drop_stands import DropStands, Phase
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.orders import Telling
from tautlog.display.quick_look import finish_new
from tautlog.drop.at_rest import Believed, without_shunt
from tautlog.drop.conducting import conduct
from tautlog.drop.granting import count_elsewhere, permitted, withheld
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.run import NOT_ARMED
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError, CampaignError
from tautlog.files.record_path import next_record_path
from tautlog.model.signature import signed
from tautlog.model.stream import Instrument

KIND = "a drop"
GATE_EVERY = 5  # readings
NOTHING = "Nothing was armed"
NOBODY = "Nobody said that the sled is at rest: stay out until it is."
WAIT_S = 0.2
READY, FETCH, STOP = "ready", "fetch", "stop"  # what the crew wants, once it has looked


@dataclass(frozen=True)
class DropAsked:
    """What the crew asks for.

    Attributes
    ----------
    request : DropRequest
        Set-up of this drop.
    by_hand : bool
        A hand pulls the pin.
    countdown_s, record_s : float
        See `DropPlan`.
    by, reason : str
        Who overrides a refusal, and why; both or neither.
    """

    request: DropRequest
    by_hand: bool = False
    countdown_s: float = DropPlan.countdown_s
    record_s: float = DropPlan.record_s
    by: str = ""
    reason: str = ""


class DropOrder:
    """A drop, ordered at the desk; see `orders.Order`.

    Parameters
    ----------
    campaign_now : callable
        The campaign as it stands.
    asked : DropAsked
        The drop.
    port : str
        The board's port.
    trace : DropTrace
        Shows the samples.
    timeout_scale : float
        For boards that answer slowly.
    """

    kind = KIND

    def __init__(
        self,
        campaign_now: Callable[[], Campaign],
        asked: DropAsked,
        port: str,
        trace: DropTrace,
        *,
        timeout_scale: float = 1.0,
    ) -> None:
        self._campaign_now = campaign_now
        self._asked = asked
        self._port = port
        self._trace = trace
        self._scale = timeout_scale
        campaign = campaign_now()
        self._folder = campaign.folder
        setup = setup_from(campaign, asked.request)
        self.content = DropStands(Phase.LOOK, setup, asked.by_hand)

    def carry_out(self, told: Telling) -> str:
        """Look, and drop if the crew says so."""
        campaign = self._campaign_now()
        crew = DeskCrew(told, self.content, self._trace, campaign.calibration, campaign.units)
        with told.listening() as stop:
            try:
                wanted = self._look(told, crew, stop)
                if wanted == STOP:
                    return f"called off. {NOTHING}."
                step = self._fetch if wanted == FETCH else self._drop
                assessment = step(told, crew, stop)
            finally:
                self._trace.end()
            return self._until_confirmed(told, crew, stop, assessment)

    def _look(self, told: Telling, crew: DeskCrew, stop: StopRequest) -> str:
        """Show what the board reads, or holds, until the crew says what it wants."""
        try:
            with stop.at_once(), SerialLink(self._port) as link:
                session = Session(link, timeout_scale=self._scale)
                board = session.greet()
                if board.state == HELD:
                    note_held(self._folder)
                    crew.now(phase=Phase.HELD, **named(board))
                    return _wanted(told, (FETCH, STOP))
                return self._read_on(session, board, told, crew)
        except KeyboardInterrupt:
            return STOP

    def _read_on(self, session: Session, board: Instrument, told: Telling, crew: DeskCrew) -> str:
        number, gate = 0, []
        while not told.closing:
            campaign = self._campaign_now()
            setup = setup_from(campaign, self._asked.request)
            if number % GATE_EVERY == 0:
                gate = withheld(
                    campaign, setup, by=self._asked.by, reason=self._asked.reason, instrument=board
                )
            number += 1
            facts = Believed(campaign, setup, campaign.calibration).facts(session, shunt=False)
            found = findings(replace(facts, units=campaign.units))
            checks = (*map(as_check, without_shunt(found)), *gate)
            anew = crew.stands.withholds != checks or not crew.stands.board
            shown = at_rest(board, facts.health, campaign.units)
            anew = anew or shown["contacts"] != crew.stands.contacts
            crew.now(anew=anew, withholds=checks, setup=setup, **shown)
            for word in told.words():
                if word.fields.get("do") in (READY, STOP):
                    word.answer.set_result(None)
                    return word.fields["do"]
                word.answer.set_exception(CampaignError("first look at the board, then go on"))
        return STOP

    def _drop(self, told: Telling, crew: DeskCrew, stop: StopRequest) -> Assessment:
        """Do the drop, mark and draw it."""
        campaign, asked = self._campaign_now(), self._asked
        crew.now(withholds=(), said=(), hears=False)
        permit = permitted(
            campaign,
            setup_from(campaign, asked.request),
            by=asked.by,
            reason=asked.reason,
            say=crew.say,
            units=campaign.units,
        )
        plan = DropPlan(
            path=next_record_path(campaign.folder, permit.setup.article),
            permit=permit,
            by_hand=asked.by_hand,
            countdown_s=asked.countdown_s,
            record_s=asked.record_s,
            shunt=shunt_of(campaign, campaign.calibration, asked=False),
            units=campaign.units,
        )
        if stop.came:  # while the permit was granted
            raise AbortedError(f"called off: {NOT_ARMED}")
        kept = plan.path
        try:
            outcome = conduct(self._port, plan, crew, stop, timeout_scale=self._scale)
            kept = outcome.path
        finally:
            count_elsewhere(campaign, plan.setup, kept)
        for text in _what_came(outcome):
            crew.say(text)
        return self._judge(outcome.path, told, crew, stop)

    def _fetch(self, told: Telling, crew: DeskCrew, stop: StopRequest) -> Assessment:
        """Fetch what the board holds, mark and draw it."""
        campaign = self._campaign_now()
        setup = setup_from(campaign, self._asked.request)
        crew.now(phase=Phase.FETCHING, setup=setup, withholds=(), said=(), hears=False)
        scale = self._scale
        path = fetch_held(campaign, setup, self._port, stop, crew.say, timeout_scale=scale)
        return self._judge(path, told, crew, stop)

    def _judge(self, path: Path, told: Telling, crew: DeskCrew, stop: StopRequest) -> Assessment:
        def judged(assessment: Assessment) -> None:
            told.refuse_early()
            crew.now(
                phase=Phase.JUDGED,
                hears=True,
                count="",
                record=address_of(path, self._folder),
                lines=tuple(line[2:] for line in quick_look(assessment)),
            )

        return finish_new(path, stop, judged, units=self._campaign_now().units)

    def _until_confirmed(
        self, told: Telling, crew: DeskCrew, stop: StopRequest, assessment: Assessment
    ) -> str:
        """Keep "stay out" until a person says by name that sled and pin were looked at."""
        if assessment.problem:
            crew.say(f"the marks are not kept: {assessment.problem}")
        came = len(stop.came)
        while not told.closing and len(stop.came) == came:
            for word in told.words(WAIT_S):
                name = word.fields.get("by", "").strip()
                if word.fields.get("do") == "confirm" and signed(name):
                    try:
                        confirm_at_rest(self._folder, name)
                    except CampaignError as problem:
                        word.answer.set_exception(problem)
                        continue
                    crew.now(confirmed_by=name)
                    told.last.append(word)
                    return f"recorded and judged. {name} says that the sled is at rest and blocked."
                word.answer.set_exception(
                    CampaignError("say by name who looked at pin, catch and sled")
                )
        return f"recorded and judged. {stay_out_now(self._folder) or NOBODY}"


def _wanted(told: Telling, choices: tuple[str, ...]) -> str:
    """What the crew chooses; STOP if the desk closes."""
    while not told.closing:
        for word in told.words(WAIT_S):
            said = word.fields.get("do", "")
            if said in choices:
                word.answer.set_result(None)
                return said
            word.answer.set_exception(
                CampaignError("the board holds an event: fetch it, or end this")
            )
    return STOP


def _what_came(outcome: DropOutcome) -> list[str]:
    found = [f"LOOK: {note}" for note in outcome.notes]
    if outcome.problem:
        found.append(f"LOOK: the shunt's step afterwards could not be read ({outcome.problem})")
    if outcome.missing_blocks or outcome.damaged:
        found.append(
            f"{outcome.missing_blocks} blocks missing, {outcome.damaged} frames came damaged and "
            "were sent again"
        )
    return found
