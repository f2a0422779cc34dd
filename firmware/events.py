"""The board's list of what happened, tied to samples.

Events are kept in memory that is allocated once, so that they can be noted
while armed, and sent again when the laptop asks.
"""

import struct

import wire

CAPACITY = 96
# Contacts that chatter may fill a list; what matters most must always find room.
ROOM_FOR_OTHERS = 32
MEMORY_BYTES = CAPACITY * wire.EVENT_BODY_BYTES


class EventLog:
    """Numbered events since the last arming, as ready-made payloads.

    Parameters
    ----------
    memory : memoryview, optional
        Where they lie, see keepsake.py.

    Attributes
    ----------
    memory : memoryview
        The payloads, one behind the other; a view of each would take 3 kB of a board.
    first : int
        Number of the oldest event kept.
    count : int
        Events kept.
    unsent : int
        Number of the next event to send.
    dropped : int
        Edges, and changes of readbacks, that found no place any more.
    """

    def __init__(self, memory=None):
        self.memory = memory or bytearray(MEMORY_BYTES)
        self.first = 0
        self.count = 0
        self.unsent = 0
        self.dropped = 0

    def clear(self):
        """Forget the events of the drop before; numbers go on."""
        self.first += self.count
        self.count = 0
        self.unsent = self.first
        self.dropped = 0

    def restore(self, first, count):
        """Take up again what the memory holds, after a restart."""
        self.first = self.unsent = first
        self.count = min(count, CAPACITY)

    def note(self, code, block, offset, stamp_us, value=0):
        """Keep one event; False when the list is full."""
        chatters = code == wire.EVENT_EDGE or code == wire.EVENT_READBACK
        if self.count >= CAPACITY - (ROOM_FOR_OTHERS if chatters else 0):
            self.dropped += 1
            return False
        struct.pack_into(
            wire.EVENT_BODY,
            self.memory,
            self.count * wire.EVENT_BODY_BYTES,
            (self.first + self.count) & 0xFFFF,
            code,
            0,
            block,
            offset,
            0,
            value,
            stamp_us,
        )
        self.count += 1
        return True

    def next_to_send(self):
        """Where the payload of the next event to send begins in the memory, or -1."""
        place = self.unsent - self.first
        return place * wire.EVENT_BODY_BYTES if place < self.count else -1

    def rewind(self):
        """Send all again."""
        self.unsent = self.first
