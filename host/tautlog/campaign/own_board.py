"""Own board: whether the board that greeted is for this campaign, real or to practise with."""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.errors import RefusedError
from tautlog.model.origin import Meeting, stranger
from tautlog.model.stream import Instrument


def require_own_board(campaign: Campaign | None, board: Instrument, keeps: str = "") -> None:
    """Refuse a board that is real where the campaign practises, or the other way round.

    Parameters
    ----------
    campaign : Campaign or None
        The campaign; without one nothing is kept, and nothing refused.
    board : Instrument
        The board, as it greeted.
    keeps : str
        What would be kept of it, see `origin.Meeting`.

    Raises
    ------
    RefusedError
        If it is not for this campaign.
    """
    if campaign is None:
        return
    why = stranger(Meeting(campaign.rehearsed, board.board, board.serial, keeps))
    if why:
        raise RefusedError(why)
