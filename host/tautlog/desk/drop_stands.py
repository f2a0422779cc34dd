"""How a drop at the desk stands: what any page that comes, or comes back, must know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from tautlog.model.load_path import PathCheck
from tautlog.model.trace import DropSetup


class Phase(Enum):
    """How far a drop has come; the value is the word that is read from two metres."""

    LOOK = "NOT ARMED"
    HELD = "EVENT HELD"
    FETCHING = "FETCHING"
    PHRASE = "TYPE TO ARM"
    ARMED = "ARMED"
    RELEASED = "RECORDING"
    JUDGED = "STAY OUT"

    @property
    def may_call_off(self) -> bool:
        """Whether the button that calls off, or ends the recording, does something."""
        return self is not Phase.JUDGED


@dataclass(frozen=True)
class DropStands:
    """How a drop stands; never changed, each step gives a new one.

    Attributes
    ----------
    phase : Phase
        How far it has come.
    setup : DropSetup
        What is dropped.
    by_hand : bool
        A hand pulls the pin.
    board : str
        The board that answered, in words; "" before.
    rehearsed : str
        The mark of a simulated board, or "".
    readings : tuple of (str, str)
        What the board reads at rest: name and value.
    contacts : tuple of (str, bool)
        Interlocks in words, and whether each is as it must be.
    withholds : tuple of PathCheck
        What the readings and the campaign say to this drop.
    said : tuple of str
        What the crew must know, in the order in which it was said.
    count : str
        The countdown, or the seconds recorded; "" else.
    record : str
        Name of the record in an address, once there is one.
    lines : tuple of str
        The five lines, once it is judged.
    confirmed_by : str
        Who said that the sled is at rest and blocked.
    hears : bool
        The crew may say something now; see `orders.Orders.say`.
    """

    phase: Phase
    setup: DropSetup
    by_hand: bool = False
    board: str = ""
    rehearsed: str = ""
    readings: tuple[tuple[str, str], ...] = ()
    contacts: tuple[tuple[str, bool], ...] = ()
    withholds: tuple[PathCheck, ...] = ()
    said: tuple[str, ...] = ()
    count: str = ""
    record: str = ""
    lines: tuple[str, ...] = ()
    confirmed_by: str = ""
    hears: bool = True

    @property
    def refused(self) -> bool:
        """Whether something withholds arming: a check, or a contact that the board would refuse."""
        checks = any(check.refuses and not check.holds for check in self.withholds)
        return checks or not all(good for _, good in self.contacts)

    @property
    def may_call_off(self) -> bool:
        """See `Phase`."""
        return self.phase.may_call_off

    @property
    def live(self) -> Mapping[str, str]:
        """What changes often, by its name on the page."""
        return {"phase": self.phase.value, "count": self.count, **dict(self.readings)}
