"""A crew at the desk that does as it is asked, in this thread: orders with a board that may lie."""

import threading
from unittest import mock

from fakes.drops import CALIBRATION, SETUP
from tautlog.campaign.at_the_board import at_rest
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import DropRequest
from tautlog.desk import orders as orders_of
from tautlog.desk.at_board import AtBoardOrder
from tautlog.desk.drop_order import DropAsked, DropOrder
from tautlog.desk.drop_stands import Phase
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.feed import Feed
from tautlog.desk.live_calibration import CalibrationWork
from tautlog.desk.live_hanging import HangingWork
from tautlog.desk.live_pull import PullWork
from tautlog.desk.orders import Orders, Standing, Telling, Word
from tautlog.drop.crew import PHRASE
from tautlog.drop.permit import CHECKED, grant
from tautlog.errors import CampaignError

LOOKS = 12  # at whether the desk closes
SAYS = {
    Phase.LOOK: {"do": "ready"},
    Phase.HELD: {"do": "fetch"},
    Phase.PHRASE: {"do": "arm", "phrase": PHRASE},
    Phase.JUDGED: {"do": "confirm", "by": "A. Rigger"},
}


class Crew(Telling):
    """Says what is asked for; the desk closes after some looks."""

    def __init__(self, orders, until):
        super().__init__(orders, until)
        self._looks = LOOKS

    @property
    def closing(self):
        self._looks -= 1
        return self._looks < 0

    def words(self, wait_s=0.0):
        content = self._orders.standing.content
        asked = getattr(content, "hears", False) and content.board
        return [Word(SAYS[content.phase])] if asked and content.phase in SAYS else []


def carried_out(order):
    """How an order stands once it has ended."""
    orders = Orders(Feed())
    orders._standing = Standing(order.kind, "me", content=order.content)
    with mock.patch.object(orders_of, "Telling", Crew):
        orders._carry_out(order, threading.Event())
    standing = orders.standing
    if "the desk made a mistake" in standing.ended:
        raise AssertionError(standing.ended)
    return standing


def reading(work_of):
    """A way to meet a board that is read at the desk."""

    def way(board, folder):
        campaign = read_campaign(folder)
        order = AtBoardOrder(
            "reading",
            work_of(lambda: campaign),
            "liar",
            lambda session: at_rest(session, campaign, ""),
        )
        standing = carried_out(order)
        content = standing.content
        if content.away or content.look is None:
            raise CampaignError(content.away or standing.ended)
        return " ".join(content.live.values())

    return way


def dropping(board, folder):
    """A drop at the desk; the gate is judged elsewhere."""

    def permitted(campaign, setup, **_):
        return grant(SETUP, CALIBRATION, "kite", CHECKED, folder=folder)

    asked = DropAsked(DropRequest(), countdown_s=0.5, record_s=2.0)
    order = DropOrder(lambda: read_campaign(folder), asked, "liar", DropTrace(Feed()))
    with (
        mock.patch("tautlog.desk.drop_order.permitted", permitted),
        mock.patch("tautlog.desk.drop_order.withheld", return_value=[]),
    ):
        standing = carried_out(order)
    if standing.content.phase is not Phase.JUDGED:
        raise CampaignError(standing.ended)
    return " ".join((*standing.content.said, standing.ended))


WAYS = {
    "desk calibration": reading(lambda now: CalibrationWork(now, 9.81)),
    "desk hanging": reading(lambda now: HangingWork(9.0)),
    "desk pull": reading(lambda now: PullWork(now, "beam-1", 2700.0)),
    "desk drop": dropping,
}
PORTS = (
    "tautlog.desk.at_board.SerialLink",
    "tautlog.desk.drop_order.SerialLink",
    "tautlog.desk.drop_held.SerialLink",
)
