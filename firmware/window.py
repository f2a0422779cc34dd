"""The guarded window: what of a drop the memory holds, and whether that is enough.

The history follows from channels, samples a block and memory, and the window from the
history: all that the memory holds is guarded, and what config.py asks for is the least.
"""

SPARE_BLOCKS = 2  # one is being written when the release is noticed, one when the window ends


class Window:
    """What a ring of samples guards around the release.

    Parameters
    ----------
    config : module or object
        Its HISTORY_BLOCKS are those that there are.

    Attributes
    ----------
    before_blocks, after_blocks : int
        Guarded blocks before that of the release, and after it.
    after_s : float
        The same time as seconds, rounded down.
    is_short : bool
        The memory holds less than config.py asks for: the board must not arm.
    """

    def __init__(self, config):
        block_s = config.SAMPLES_PER_BLOCK * config.REDUCTION * len(config.CHANNELS)
        block_s /= config.CONVERSION_RATE_HZ
        # As whole numbers: a float made later would be allocated.
        self.before_blocks = int(config.GUARD_BEFORE_S / block_s) + 1
        least = int(config.GUARD_AFTER_S / block_s) + 1
        room = config.HISTORY_BLOCKS - self.before_blocks - SPARE_BLOCKS
        self.after_blocks = max(1, room)
        self.after_s = int(max(0, room) * block_s * 1000) / 1000
        # The blocks that are judged before arming must be there, too.
        self.is_short = room < least or config.HISTORY_BLOCKS <= config.QUIET_BLOCKS
