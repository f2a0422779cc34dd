"""Everything the board sends, one frame at a time, in pieces the link takes.

A link that is full is no reason to wait: the frame under way is continued at
the next step. Order: the frame under way, an answer, events, status, blocks.
"""

import struct

import wire

_SMALL_PAYLOAD = 160
FRAMES_A_STEP = 6


class Sender:
    """Writes frames to the board's link from memory that exists already.

    Parameters
    ----------
    board : object
        Has ``write(view, start, end)``, which returns the bytes it took, and
        `check`, a wire.Check or its like.
    history : History
        The blocks to send.
    events : EventLog
        The events to send.
    count, channels : int
        Samples of one channel in a block; channels.
    """

    def __init__(self, board, history, events, count, channels):
        self._board = board
        self._check = board.check
        self._history = history
        self._events = events
        self._count = count
        self._channels = channels
        self._small = bytearray(wire.OVERHEAD_BYTES + _SMALL_PAYLOAD)
        self._small_view = memoryview(self._small)
        self._under_way = self._small_view
        self._at = self._end = 0
        self._sequence = 0
        self._answer = None
        self._busy = None
        self._status = bytearray(wire.STATUS_BODY_BYTES)
        self._status_due = False

    def answer(self, answer_bytes):
        """Queue the answer to a command; the laptop asks one thing at a time."""
        self._answer = answer_bytes

    def answer_busy(self, busy):
        """Queue a ready-made answer, a commands.BusyAnswer."""
        self._busy = busy.body

    def status_body(self):
        """Memory for the body of the next status, to be filled in place."""
        self._status_due = True
        return self._status

    def step(self, streaming):
        """Send what the link takes now; True when there is more and it would take it."""
        for _ in range(FRAMES_A_STEP):
            if not self._continue() or not self._begin_next(streaming):
                return False
        return self._continue()

    def is_idle(self):
        """Whether the link has taken everything but blocks."""
        return self._answer is None and self._at == self._end

    def _continue(self):
        """Write on at the frame under way; True when it is all written."""
        if self._at < self._end:
            self._at += self._board.write(self._under_way, self._at, self._end)
        return self._at == self._end

    def _begin_next(self, streaming):
        if self._answer is not None:
            # Only commands have answers, and commands are not obeyed while
            # anything is at stake: this may allocate.
            whole = wire.frame(wire.ANSWER, self._sequence, self._answer)
            self._answer = None
            self._begin(memoryview(whole), len(whole))
            return True
        if self._busy is not None:
            self._begin_small(wire.ANSWER, self._busy, 0, len(self._busy))
            self._busy = None
            return True
        at = self._events.next_to_send()
        if at >= 0:
            self._events.unsent += 1
            self._begin_small(wire.EVENT, self._events.memory, at, wire.EVENT_BODY_BYTES)
            return True
        if self._status_due:
            self._status_due = False
            self._begin_small(wire.STATUS, self._status, 0, wire.STATUS_BODY_BYTES)
            return True
        if not streaming:
            return False
        number = self._history.next_to_send()
        if number < 0:
            return False
        self._begin_block(number)
        return True

    def _begin(self, view, end):
        self._under_way = view
        self._at = 0
        self._end = end
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _begin_small(self, kind, body, at, length):
        wire.put_header(self._small, kind, length, self._sequence, self._check)
        for i in range(length):
            self._small[wire.HEADER_BYTES + i] = body[at + i]
        wire.close_frame(self._small, length, self._check)
        self._begin(self._small_view, length + wire.OVERHEAD_BYTES)

    def _begin_block(self, number):
        history = self._history
        slot = number % history.slots
        frame = history.frames[slot]
        struct.pack_into(
            wire.BLOCK_FRAME,
            frame,
            0,
            wire.SYNC,
            wire.VERSION,
            wire.BLOCK,
            history.frame_bytes - wire.OVERHEAD_BYTES,
            self._sequence,
            0,
            number,
            history.oldest,
            history.stamps_us[slot],
            history.flags[slot],
            history.lost[slot],
            self._count,
            self._channels,
            history.bits,
        )
        self._check.seal(frame)
        history.unsent = number + 1
        self._begin(frame, history.frame_bytes)
