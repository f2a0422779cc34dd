"""Live: what the pages at the board have in common: whose order it is, and how it stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol, TypeVar

from starlette.requests import Request
from starlette.responses import Response

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.zone import require_looked
from tautlog.desk.at_board import AtBoard
from tautlog.desk.calibration import channels_of
from tautlog.desk.forms import Entered
from tautlog.desk.orders import Order, Standing
from tautlog.desk.page import desk_of, page, visitor_of
from tautlog.errors import CampaignError

T = TypeVar("T")


class Begun(Order, Protocol):
    """An order that knows how it stands before it is carried out."""

    @property
    def content(self) -> object:
        """See `orders.Standing`."""


@dataclass(frozen=True)
class Live:
    """How an order at the board stands, as one visitor sees it.

    Attributes
    ----------
    standing : Standing or None
        Of this kind of order, under way or ended.
    at : AtBoard or None
        Its content.
    mine : bool
        This visitor's session gave it, and may go on with it.
    other : str
        The other order that has the board, or "".
    """

    standing: Standing | None
    at: AtBoard | None
    mine: bool
    other: str

    @property
    def under_way(self) -> bool:
        """It is being carried out."""
        return self.standing is not None and self.standing.under_way

    @property
    def number(self) -> int:
        """See `Standing`."""
        return self.standing.number if self.standing else 0

    @property
    def figures(self) -> Mapping[str, str]:
        """Figures of the last reading, "-" for what there is none of."""
        return self.at.live if self.at else {}

    def work(self, kind: type[T]) -> T | None:
        """What is done, if it is of that kind."""
        return self.at.work if self.at and isinstance(self.at.work, kind) else None


def live_of(request: Request, kind: str) -> Live:
    """How an order of a kind stands."""
    standing = desk_of(request).orders.standing
    if standing is None or standing.kind != kind or not isinstance(standing.content, AtBoard):
        other = standing.kind if standing and standing.under_way else ""
        return Live(None, None, False, other)
    return Live(standing, standing.content, is_mine(request, standing), "")


def is_mine(request: Request, standing: Standing | None) -> bool:
    """Whether the session that asks gave this order, and may go on with it."""
    visitor = visitor_of(request)
    return standing is not None and visitor.may_enter and standing.session == visitor.token


def shown(
    request: Request,
    template: str,
    said: str,
    entered: Mapping[str, str] | None,
    *,
    task: str,
    **content: object,
) -> Response:
    """The page of an order at the board, with what every one of them shows."""
    campaign, _ = desk_of(request).campaign_or_why()
    return page(
        request,
        template,
        task=task,
        said=said,
        status=400 if said else 200,
        typed=dict(entered or {}),
        port=campaign.port if campaign else "",
        channels=channels_of(campaign),
        **content,
    )


def begun_or_said(
    request: Request, entered: Entered, begins: Callable[[Request, Entered], None]
) -> None:
    """Begin, or say something to what is under way; raises if it is refused."""
    if entered.text("do") == "begin":
        begins(request, entered)
    else:
        say(request, entered.texts)


def begin(request: Request, order: Begun) -> None:
    """Give an order in the name of who asks.

    Raises
    ------
    CampaignError
        If the board is taken.
    RefusedError
        If people must stay out since the last drop.
    """
    require_looked(desk_of(request).folder)
    desk_of(request).orders.give(order, visitor_of(request).token, order.content)


def say(request: Request, fields: Mapping[str, str]) -> None:
    """Say something to the order, in the name of who asks; raises if it is refused."""
    desk_of(request).orders.say(visitor_of(request).token, fields)


def port_of(campaign: Campaign) -> str:
    """The board's port.

    Raises
    ------
    CampaignError
        If campaign.toml states none.
    """
    if not campaign.port:
        raise CampaignError(
            "no port is stated: set port under [board] in campaign.toml; `tautlog boards` finds it"
        )
    return campaign.port
