"""Permission: what a drop is done on, and the only thing that `drop.run_drop` takes.

A permit holds the set-up, calibration and campaign that were asked about, so that nothing
else is dropped than what was let through. `permit.permitted` and `permit.rehearsal` make
permits; one that is made by hand, by copying fields or by `dataclasses.replace` has no seal and
is refused. That keeps mistakes out, not people: Python hides nothing.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from tautlog.errors import RefusedError
from tautlog.model.calibration import Calibration
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.trace import DropSetup

if TYPE_CHECKING:
    from tautlog.model.stream import Instrument

CHECKED, NOT_CHECKED, REHEARSAL = "checked", "not checked", "rehearsal"
_SEAL = object()
GOOD_FOR_S = 600.0  # as a checklist; common practice
_ASK = "ask `tautlog.drop.permit.permitted` for one"


@dataclass(frozen=True)
class Permit:
    """One drop that may be done, once.

    Attributes
    ----------
    setup : DropSetup
        What will be dropped, with the override where a person dropped beyond a refusal.
    calibration : Calibration
        What the forces are read by.
    campaign : str
        Its name; "" without one.
    kind : str
        "checked" by the gate; "not checked", where there is no campaign; "rehearsal".
    stated_zero_v : float or None
        Output of the amplifier without a force, as the campaign states it.
    """

    setup: DropSetup
    calibration: Calibration
    campaign: str
    kind: str
    stated_zero_v: float | None = None
    _seal: object = field(default=None, init=False, repr=False, compare=False)
    _granted_s: float = field(default_factory=time.monotonic, init=False, repr=False, compare=False)
    _spent: list[str] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def checked(self) -> bool:
        """Whether the gate looked at it."""
        return self.kind == CHECKED

    def spend(self) -> None:
        """Take it for one drop.

        Raises
        ------
        RefusedError
            If nobody granted it; a drop was done on it before, which may have used up a proof; or
            it was granted so long ago that the campaign may say something else by now.
        """
        if self._seal is not _SEAL:
            raise RefusedError(f"this permit was made by hand, nobody granted it: {_ASK}")
        if self._spent:
            raise RefusedError(f"this permit was used for a drop already: {_ASK}")
        if time.monotonic() - self._granted_s > GOOD_FOR_S:
            raise RefusedError(f"this permit is older than {GOOD_FOR_S / 60:.0f} minutes: {_ASK}")
        self._spent.append("used")

    def require_board(self, instrument: Instrument) -> None:
        """Refuse a real board on a permit that is good for a rehearsal only.

        Raises
        ------
        RefusedError
            With what the board said it is.
        """
        if self.kind == REHEARSAL and not board_is_rehearsed(instrument.board, instrument.serial):
            raise RefusedError(
                f"a rehearsal is not held against mount and load path, and this is a real board "
                f"({instrument.board}): {_ASK}"
            )


def grant(
    setup: DropSetup,
    calibration: Calibration,
    campaign: str,
    kind: str,
    stated_zero_v: float | None = None,
) -> Permit:
    """Make a permit; `permit` alone does, after it has asked the gate."""
    made = Permit(setup, calibration, campaign, kind, stated_zero_v)
    object.__setattr__(made, "_seal", _SEAL)
    return made


def require(permit: object) -> Permit:
    """Return what is a permit.

    Raises
    ------
    RefusedError
        If it is anything else, such as a bare set-up.
    """
    if not isinstance(permit, Permit):
        raise RefusedError(f"a drop is done on a permit, seen {type(permit).__name__}: {_ASK}")
    return permit
