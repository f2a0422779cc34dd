"""Checking: what a checklist measures before a drop, for terminal and desk alike."""

from __future__ import annotations

from tautlog.board.link import SerialLink
from tautlog.board.readiness import Facts, read_facts
from tautlog.board.session import Session
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.checklist import measured_checks
from tautlog.campaign.fitted_shunt import shunt_of
from tautlog.campaign.own_board import require_own_board
from tautlog.drop.granting import checked_for
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import PathCheck
from tautlog.model.trace import DropSetup


def facts_at(
    port: str, campaign: Campaign, setup: DropSetup, *, timeout_scale: float = 1.0
) -> Facts:
    """Read the board at a port.

    Raises
    ------
    LinkError, BoardError
        If it does not answer, or its answer cannot be used.
    RefusedError
        If it is real and the campaign is there to practise with, or the other way round.
    """
    with SerialLink(port) as link:
        session = Session(link, timeout_scale=timeout_scale)
        require_own_board(campaign, session.greet(), "a checklist")
        shunt = shunt_of(campaign, campaign.calibration, asked=False)
        zero_v = campaign.amplifier.zero_v
        return read_facts(session, campaign.calibration, setup, shunt, stated_zero_v=zero_v)


def measured_for(
    campaign: Campaign,
    setup: DropSetup,
    facts: Facts | None,
    override: tuple[str, str] = ("", ""),
    units: Units = SI,
) -> list[PathCheck]:
    """What can be measured before a drop, and what the gate refuses.

    Parameters
    ----------
    campaign, setup : Campaign, DropSetup
        The campaign and the drop.
    facts : Facts or None
        From the board; None if none was read.
    override : tuple of (str, str)
        Who overrides a refusal, and why.
    units : Units
        Units in which it is said; SI for a list that is kept.
    """
    by, reason = override
    return [
        *measured_checks(facts, campaign.folder, setup.target_n, units),
        *checked_for(
            campaign,
            setup,
            by=by,
            reason=reason,
            instrument=None if facts is None else facts.instrument,
            units=units,
        ),
    ]
