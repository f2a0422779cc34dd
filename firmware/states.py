"""The four states of the board and every way between them, as one table.

::

    safe --ARM--> armed --OPEN--> recording --END--> held --DISCARD--> safe
     ^              |                                 ^
     +----DOUBT-----+        safe --FOUND-------------+

Anything not in the table leaves the state as it is. The release drive may be
high only in `armed`.
"""

from wire import ARMED, HELD, RECORDING, SAFE

ARM = 0  # every interlock agreed and the laptop asked for it
OPEN = 1  # the release switch opened and stayed open
DOUBT = 2  # abort, key off, silence, restless signal, time-out
END = 3  # the event is complete
FOUND = 5  # at power-up: the event of an earlier life
DISCARD = 4  # the laptop has the event, or a person gave it up

HAPPENINGS = 6
# Numbers as keys: a tuple would be allocated to look one up.
TABLE = {
    SAFE * HAPPENINGS + ARM: ARMED,
    ARMED * HAPPENINGS + OPEN: RECORDING,
    ARMED * HAPPENINGS + DOUBT: SAFE,
    RECORDING * HAPPENINGS + END: HELD,
    HELD * HAPPENINGS + DISCARD: SAFE,
    SAFE * HAPPENINGS + FOUND: HELD,
}


class States:
    """The state the board is in, and why it came to be in it.

    Attributes
    ----------
    now : int
        wire.SAFE, ARMED, RECORDING or HELD.
    reason : int
        Number of `wire.REASONS` that led here, or 0.
    """

    def __init__(self):
        self.now = SAFE
        self.reason = 0

    def take(self, happening, reason=0):
        """Follow the table; True when the state changed."""
        after = TABLE.get(self.now * HAPPENINGS + happening)
        if after is None:
            return False
        self.now = after
        self.reason = reason
        return True
