"""Converter known: by whose steps a new calibration is corrected."""

from __future__ import annotations

from pathlib import Path

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.converters import kept_converters, newest_converter
from tautlog.model.calibration import Calibration
from tautlog.model.linearity import Linearity
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

    Raises
    ------
    CampaignError
        If a file of a measured table cannot be believed.
    """
    measured = None if campaign is None else _measured(campaign.folder, board)
    if measured is not None and measured.bits == base.converter_bits:
        return measured.text
    if base.converter or board is None or board.converter_bits != 12:
        return base.converter
    return chip_in(board.board)


def _measured(folder: Path, board: Instrument | None) -> Linearity | None:
    """The newest table of the board; of the only board that was tested, if none is named."""
    if board is not None:
        return newest_converter(folder, board.serial)
    kept = [one for _, one in kept_converters(folder)]
    same = kept and all(one.of_board(kept[0].serial) for one in kept)
    return kept[-1].of_its_board if same else None
