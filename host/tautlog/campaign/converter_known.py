"""Converter known: by whose steps a new calibration is corrected."""

from __future__ import annotations

from tautlog.campaign.campaign import Campaign
from tautlog.model.calibration import Calibration
from tautlog.model.steps import chip_in
from tautlog.model.stream import Instrument


def converter_for(
    campaign: Campaign | None, base: Calibration, board: Instrument | None = None
) -> str:
    """`Calibration.converter` of a calibration that is made now.

    A table that was measured on this very board counts most; then what campaign.toml states;
    then what is published of the board's chip. "" if none of these is known.

    Parameters
    ----------
    campaign : Campaign or None
        Its folder may hold measured tables.
    base : Calibration
        What campaign.toml states.
    board : Instrument or None
        The board that reads the points; None if they come from a table.
    """
    if base.converter or board is None or board.converter_bits != 12:
        return base.converter
    return chip_in(board.board)
