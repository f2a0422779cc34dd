"""At the board: the force channel that a campaign means, on a board that has just answered."""

from __future__ import annotations

from dataclasses import replace

from tautlog.board.resting import Resting
from tautlog.board.session import Session
from tautlog.calibrate.series import Series
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.converter_known import converter_for
from tautlog.campaign.own_board import require_own_board
from tautlog.errors import CalibrationError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, columns_of
from tautlog.model.stream import Instrument


def at_rest(session: Session, campaign: Campaign | None, channel: str = "") -> Resting:
    """Greet a board, and find the force channel to read.

    Parameters
    ----------
    session : Session
        The board.
    campaign : Campaign or None
        As its channel sees it; see `Campaign.for_channel`.
    channel : str
        Name of the channel; "" for the only one.

    Raises
    ------
    BoardError, LinkError
        If no board answers; see `Session.greet`.
    CalibrationError
        If the board has no such force channel.
    RefusedError
        If the campaign practises and the board is real.
    """
    board = session.greet()
    require_own_board(campaign, board)
    column = column_of(board, channel)
    if campaign is None:
        return Resting(session, Calibration(), column)
    return Resting(session, campaign.calibration, column, campaign.amplifier.zero_v)


def column_of(board: Instrument, channel: str) -> int:
    """Place of a force channel on a board; refuse what is none."""
    columns = columns_of(board.channels, FORCE)
    names = [board.channels[column] for column in columns]
    if not channel and len(names) == 1:
        return 0
    if channel not in names:
        raise CalibrationError(
            f"{f'channel {channel!r} is no' if channel else 'name the'} force channel of the "
            f"board with --channel: {', '.join(names)}"
        )
    return columns[names.index(channel)]


def new_series(campaign: Campaign | None, resting: Resting) -> Series:
    """An empty series, whose base knows the converter of the board that reads it.

    Raises
    ------
    RefusedError, CampaignError
        See `require_own_board` and `converter_for`.
    """
    require_own_board(campaign, resting.board, "a calibration")
    base = resting.calibration
    return Series(replace(base, converter=converter_for(campaign, base, resting.board)))
