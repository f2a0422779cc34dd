"""At rest: what an instrument reads before a drop, by what its campaign believes of it."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.board.finding import ReadinessFinding
from tautlog.board.readiness import Facts, read_facts
from tautlog.board.session import Session
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.fitted_shunt import shunt_of
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class Believed:
    """What is believed of the instrument: by the campaign, or as delivered.

    Attributes
    ----------
    campaign : Campaign or None
        The campaign here.
    setup : DropSetup
        The drop that would be armed.
    calibration : Calibration
        The campaign's, or the delivered one.
    """

    campaign: Campaign | None
    setup: DropSetup
    calibration: Calibration

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels as the campaign states them."""
        return self.campaign.channels if self.campaign else ()

    def facts(self, session: Session, *, shunt: bool) -> Facts:
        """Read the board at rest, with or without the shunt's step.

        Raises
        ------
        LinkError, RefusedError
            See `readiness.read_facts`.
        """
        return read_facts(
            session,
            self.calibration,
            self.setup,
            shunt_of(self.campaign, self.calibration, asked=False) if shunt else None,
            stated_zero_v=self.campaign.amplifier.zero_v if self.campaign else None,
            channels=self.channels,
        )


def without_shunt(found: list[ReadinessFinding]) -> list[ReadinessFinding]:
    """Findings of a reading that leaves the shunt alone."""
    return [finding for finding in found if finding.code != "shunt-none"]
