"""The force as a witness of the release, where no switch tells of it."""


class ForceTrigger:
    """Finds two blocks in a row, far above quiet, among those that came since the last look.

    Parameters
    ----------
    history : History
        The ring of samples.
    trigger : int
        Values of a sample above the quiet signal; 0 for never.
    """

    def __init__(self, history, trigger):
        self._history = history
        self._trigger = trigger
        self._limit = self._next = 0
        self._was_above = False

    def begin(self, quiet, head):
        """Look at the blocks from `head` on; `quiet` is the largest value without a load."""
        self._limit = quiet + self._trigger
        self.skip(head)

    def skip(self, head):
        """What came before the block `head` tells of nothing."""
        self._next = head
        self._was_above = False

    def look(self, head):
        """The first of two blocks that tell of a pull, or -1; allocates nothing."""
        history = self._history
        if not self._trigger:
            return -1
        while self._next < head:
            above = history.highs[self._next % history.slots] > self._limit
            if above and self._was_above:
                return self._next - 1
            self._was_above = above
            self._next += 1
        return -1
