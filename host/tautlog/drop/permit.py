"""Permit: the permission for one drop, without which `drop.run_drop` does nothing.

A permit holds the set-up, calibration and campaign that were checked, so that nothing else is
dropped. `granting.permitted` and `granting.rehearsal` make permits; one made by hand, by copying
fields or by `dataclasses.replace` has no seal and is refused. That keeps out mistakes, not
people: Python hides nothing.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.drop.wires import Wires
from tautlog.errors import RefusedError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.trace import DropSetup

if TYPE_CHECKING:
    from tautlog.model.stream import Instrument

CHECKED, NOT_CHECKED, REHEARSAL = "checked", "not checked", "rehearsal"
_SEAL = object()
GOOD_FOR_S = 600.0  # like a checklist; common practice
_ASK = "get one from `tautlog.drop.granting.permitted`"


@dataclass(frozen=True)
class Permit:
    """The permit for one drop.

    Attributes
    ----------
    setup : DropSetup
        The set-up, with the override if a person overrode a refusal.
    calibration : Calibration
        The calibration for the forces.
    campaign : str
        Name of the campaign, or "".
    kind : str
        "checked" by the gate; "not checked", if there is no campaign; "rehearsal".
    stated_zero_v : float or None
        The amplifier's output without force, as stated by the campaign.
    channels : tuple of Channel
        What the campaign knows of the board's channels, the first force channel first.
    wires : Wires or None
        What the campaign knows of the board's wiring; None without a campaign, and for a
        rehearsal of its own.
    folder : Path or None
        The campaign's folder, whose checklist is void if a contact opens while armed.
    """

    setup: DropSetup
    calibration: Calibration
    campaign: str
    kind: str
    stated_zero_v: float | None = None
    channels: tuple[Channel, ...] = ()
    wires: Wires | None = None
    folder: Path | None = None
    _seal: object = field(default=None, init=False, repr=False, compare=False)
    _granted_s: float = field(default_factory=time.monotonic, init=False, repr=False, compare=False)
    _spent: list[str] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def checked(self) -> bool:
        """Whether the gate checked it."""
        return self.kind == CHECKED

    def spend(self) -> None:
        """Use the permit for one drop.

        Raises
        ------
        RefusedError
            If it was not granted; if it was used before, which may have used up a proof; or if
            it is so old that the campaign may have changed.
        """
        if self._seal is not _SEAL:
            raise RefusedError(f"this permit was made by hand and not granted: {_ASK}")
        if self._spent:
            raise RefusedError(f"this permit was used for a drop already: {_ASK}")
        if time.monotonic() - self._granted_s > GOOD_FOR_S:
            raise RefusedError(f"this permit is older than {GOOD_FOR_S / 60:.0f} minutes: {_ASK}")
        self._spent.append("used")

    def require_board(self, instrument: Instrument, *, by_hand: bool) -> DropSetup:
        """The set-up for a board that has greeted, with the override if its wires are not proven.

        Parameters
        ----------
        instrument : Instrument
            The board.
        by_hand : bool
            A hand pulls the pin.

        Raises
        ------
        RefusedError
            If the board is real on a permit for a rehearsal; or if its wires are not proven, and
            nobody overrides that.
        """
        if self.kind == REHEARSAL and not board_is_rehearsed(instrument.board, instrument.serial):
            raise RefusedError(
                f"this permit is for a rehearsal, which does not check mount and load path, but "
                f"the board is real ({instrument.board}): {_ASK}"
            )
        if self.wires is None:
            return self.setup
        return self.wires.permitted(self.setup, instrument, by_hand=by_hand)


def grant(
    setup: DropSetup,
    calibration: Calibration,
    campaign: str,
    kind: str,
    stated_zero_v: float | None = None,
    channels: tuple[Channel, ...] = (),
    wires: Wires | None = None,
    folder: Path | None = None,
) -> Permit:
    """Make a permit; only `granting` calls this, after the gate."""
    made = Permit(setup, calibration, campaign, kind, stated_zero_v, channels, wires, folder)
    object.__setattr__(made, "_seal", _SEAL)
    return made


def require(permit: object) -> Permit:
    """Return the argument if it is a permit.

    Raises
    ------
    RefusedError
        If it is anything else, such as a bare set-up.
    """
    if not isinstance(permit, Permit):
        raise RefusedError(f"a drop needs a permit, seen {type(permit).__name__}: {_ASK}")
    return permit
