"""What must survive a reset and a loss of power: the event, in one piece of memory.

The memory holds, one after another, a page (what the event is), the table of
blocks, the events, and the blocks themselves. After a reset that spares the
memory, or where nobody fetches the event, it goes into a file as it is; a board
that finds the file at power-up holds the event again.
"""

import binascii
import os
import struct

import wire

PAGE = "<8sBBHIHHI"  # magic, state, reason, spare, release block, first event, events, 0
PAGE_BYTES = 32  # the last four are the check of those before
CHECKED = PAGE_BYTES - 4
MAGIC = b"tautevt1"
LINE = "<IIHHHH"  # of the table: number + 1 (0: empty), stamp, flags, lost, low, high
LINE_BYTES = 16
PIECE_BYTES = 4096  # one block of a board's file system
FILE_BYTES = 1152  # an open file needs 1148 in one piece (MicroPython 1.28, littlefs, seen)


class Keepsake:
    """The board's memory of an event, and its file.

    Parameters
    ----------
    board : object
        Has ``memory(count)`` and `check`.
    slots, frame_bytes : int
        Of the ring of samples.
    events_bytes : int
        Memory of the list of events.
    path : str
        Name of the file; "" for none.

    Attributes
    ----------
    table, events, blocks : memoryview
        Parts of the memory.
    came_from : str
        Where the event was before it was in this memory: "memory", "flash" or
        "reset".
    is_saved : bool
        The event is in the file.
    """

    def __init__(self, board, slots, frame_bytes, events_bytes, path):
        self._check = board.check
        self._path = path
        self._room = bytearray(FILE_BYTES)  # of the file, kept free while it is not open
        self._memory = memoryview(board.memory(size(slots, frame_bytes, events_bytes)))
        start = PAGE_BYTES
        self._page = self._memory[:start]
        self.table = self._memory[start : start + slots * LINE_BYTES]
        start += slots * LINE_BYTES
        self.events = self._memory[start : start + events_bytes]
        self.blocks = self._memory[start + events_bytes :]
        self.came_from = "memory"
        self.is_saved = False
        self._saving = None

    def note(self, state, reason, release_block, first_event, event_count):
        """Write the page; allocates nothing."""
        page = self._page
        first = first_event & 0xFFFF  # as events are numbered on the wire
        struct.pack_into(
            PAGE, page, 0, MAGIC, state, reason, 0, release_block, first, event_count, 0
        )
        self._check.over(page, 0, CHECKED)
        self._check.put(page, CHECKED)

    def load(self):
        """Fill the memory from the file; the page's figures, or None without a good file.

        Returns
        -------
        tuple or None
            reason, release block, number of the first event, events.
        """
        if not self._path:
            return None
        self._make_room()
        is_read = read_file(self._path, self._memory)
        self._room = bytearray(FILE_BYTES)
        if not is_read:
            return None
        self.is_saved = True
        _, _, reason, spare, block, first, count, _ = struct.unpack_from(PAGE, self._page, 0)
        self.came_from = "reset" if spare else "flash"
        return reason, block, first, count

    def save_step(self):
        """Write one more piece of the event to the file; False when there is none left."""
        if not self._path or self.is_saved:
            return False
        if self._saving is None:
            self._make_room()
            self._saving = write_pieces(self._path, self._memory)
        try:
            next(self._saving)
        except StopIteration:
            self._saving = None
            self._room = bytearray(FILE_BYTES)
            self.is_saved = True
        return True

    def _make_room(self):
        """Let go what was kept for the file, which is opened next and finds it by collecting."""
        self._room = None

    def forget(self):
        """The event is of no use any more: remove its file."""
        self._saving = None
        self.came_from = "memory"
        if self._path:
            _remove(self._path)
            _remove(self._path + ".new")
        self.is_saved = False


def size(slots, frame_bytes, events_bytes):
    """Bytes of memory that an event needs."""
    return PAGE_BYTES + slots * LINE_BYTES + events_bytes + slots * frame_bytes


def slots_in(memory_bytes, frame_bytes, events_bytes):
    """Blocks of a ring that so much memory holds."""
    return (memory_bytes - PAGE_BYTES - events_bytes) // (LINE_BYTES + frame_bytes)


def write_pieces(path, memory):
    """Write memory to a file, a piece at each `next`; it has its name only when whole."""
    value = 0
    with open(path + ".new", "wb") as file:
        for start in range(0, len(memory), PIECE_BYTES):
            piece = memory[start : start + PIECE_BYTES]
            file.write(piece)
            value = binascii.crc32(piece, value)
            yield
        file.write(struct.pack("<I", value))
    _remove(path)
    os.rename(path + ".new", path)


def read_file(path, memory):
    """Fill memory from a file that `write_pieces` wrote; False when it is none."""
    value = 0
    try:
        with open(path, "rb") as file:
            for start in range(0, len(memory), PIECE_BYTES):
                piece = memory[start : start + PIECE_BYTES]
                if file.readinto(piece) != len(piece):
                    return False
                value = binascii.crc32(piece, value)
            tail = file.read(8)
    except OSError:
        return False
    return tail == struct.pack("<I", value) and page_state(memory) == wire.HELD


def page_state(memory):
    """State that a page tells of, or -1 when it is not a good page."""
    page = bytes(memory[:PAGE_BYTES])
    if page[:8] != MAGIC or binascii.crc32(page[:CHECKED]) != wire.u32(page, CHECKED):
        return -1
    return page[8]


def seal_rescued(memory):
    """Make the page of an event that a reset interrupted say so, and that it is held."""
    page = memory[:PAGE_BYTES]
    page[8] = wire.HELD
    if not page[9]:
        page[9] = wire.RESTARTED
    page[10] = 1
    struct.pack_into("<I", page, CHECKED, binascii.crc32(bytes(page[:CHECKED])))


def _remove(path):
    try:
        os.remove(path)
    except OSError:
        pass
