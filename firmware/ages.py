"""Ages: the time since something happened, right however long that is ago.

The board's clock comes round every 2**30 microseconds (17.9 min). The difference of two
of its stamps says which is the later only within half of that, so a stamp that may grow
old is looked at in every step and kept from falling further behind than `LONGEST_US`.
"""

LONGEST_US = 1 << 28  # 268 s: an age is never told as more
_ROUND = 0x3FFFFFFF  # no number on the way is above 2**30, which a board would allocate


class Age:
    """Time since the last `restart`.

    Look at it at least every ten minutes, and it never errs.
    """

    def __init__(self, now_us):
        self._then_us = now_us

    def restart(self, now_us):
        """It happens now."""
        self._then_us = now_us

    def look(self, now_us):
        """Microseconds since it happened, at most LONGEST_US."""
        age_us = (now_us - self._then_us) & _ROUND
        if age_us > LONGEST_US:
            self._then_us = (now_us - LONGEST_US) & _ROUND
            return LONGEST_US
        return age_us
