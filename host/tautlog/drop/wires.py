"""Wires: whether the wiring of the board that greeted permits the drop.

A campaign is asked before a board is there; which board it is, with which pins, is known only when
it greets. So the permit takes along what the campaign knows, and the same guard is asked again.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

from tautlog.campaign.bring_ups import board_seen
from tautlog.errors import RefusedError
from tautlog.model.origin import Meeting, stranger
from tautlog.model.proven_wiring import Proving, unproven
from tautlog.model.signature import signed
from tautlog.model.stream import Instrument
from tautlog.model.timestamp import stamp
from tautlog.model.trace import DropSetup

MAY_OVERRIDE = (
    "A named person may override this: --override-by and --override-reason of the command, or "
    "`Override what is refused, by name` on the desk's page"
)


@dataclass(frozen=True)
class Wires:
    """What a campaign knows of the wiring, and who overrides a refusal.

    Attributes
    ----------
    proving : Proving
        For the guard.
    by, reason : str
        Who overrides, and why; "" for nobody.
    practises : bool
        The campaign is there to practise with.
    """

    proving: Proving
    by: str = ""
    reason: str = ""
    practises: bool = False

    def permitted(
        self,
        setup: DropSetup,
        instrument: Instrument,
        *,
        by_hand: bool,
    ) -> DropSetup:
        """The set-up, with the override if a named person overrides the guard.

        Raises
        ------
        RefusedError
            If the board is not for this campaign; if the wiring is not proven and nobody
            overrides it.
        """
        strange = stranger(Meeting(self.practises, instrument.board, instrument.serial))
        if strange:
            raise RefusedError(strange)
        proving = replace(self.proving, board=board_seen(instrument), driven=not by_hand)
        why = unproven(proving)
        if not why:
            return setup
        refused = f"wiring: {why}"
        if not signed(self.by) or not signed(self.reason):
            raise RefusedError(
                f"{refused}. {MAY_OVERRIDE}",
                reasons=(refused,),
            )
        before = str(json.loads(setup.override)["refused"]) if setup.override else ""
        if refused in before:
            return setup
        both = f"{before}; {refused}" if before else refused
        return replace(setup, override=override_text(self.by, self.reason, both))


def override_text(by: str, reason: str, refused: str) -> str:
    """An override as a record keeps it."""
    return json.dumps({"by": by or "nobody", "reason": reason, "refused": refused, "utc": stamp()})
