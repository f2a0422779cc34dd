"""The wire format, version 2: what travels between board and laptop.

This text is the definition. Board and laptop both import this module; there is
no second one. All numbers are little-endian.

Frame
-----
Everything travels in frames. The header's layout never changes, so that two
versions of the format can still tell each other apart.

====== ==== ===== ==========================================================
offset size type  meaning
====== ==== ===== ==========================================================
0      2    bytes sync, D7 A5
2      1    u8    version of the wire format
3      1    u8    kind, see below
4      2    u16   payload length in bytes, at most MAX_PAYLOAD
6      2    u16   sequence: frames sent in this direction, modulo 65536
8      2    u16   header check: low 16 bits of the CRC-32 of bytes 0 to 7
10     n    bytes payload
10+n   4    u32   CRC-32 of bytes 0 to 9+n, header and payload
====== ==== ===== ==========================================================

CRC-32 is CRC-32/ISO-HDLC (zlib, IEEE 802.3). A receiver that finds a wrong
check goes on one byte after the sync that it tried, so that a damaged frame
costs only itself and bytes between frames cost nothing.

From the laptop
---------------
ASK      JSON object in ASCII, ``{"do": name, ...}``; answered by one ANSWER.
ACK      u32 `next`: every block before it is on disk; u8 bit 0: send again
         from `next` on. Sent after every write to disk and at least every
         quarter of a second: it is the laptop's heartbeat as well.
RELEASE  8 bytes: the token that the answer to `arm` carried.
ABORT    no payload. Drive low at once, in every state.
FINISH   no payload. The recording may end; the guarded window is completed.

From the board
--------------
ANSWER   JSON object: ``to`` (sequence of the ASK), ``ok``, ``state``, and what
         the command promises; if not ok ``error`` (one of ERRORS), ``text``
         and ``reasons`` (numbers of REASONS).
BLOCK    one block of samples, see BLOCK_HEAD, then the values, channel after channel
         within a sample, and nothing else. The samples of block n begin at sample
         index n x `count`. `oldest` is the oldest block that the board still
         holds: a block before it that did not arrive will not come any more.
         `bits` of a value: 16, a u16 each; or 12, where no value can be above 4095:
         an even number of values, two and two in three bytes. Of values a and b:
         a's low 8 bits; b's low 4 bits above a's high 4 bits; b's high 8 bits.
EVENT    see EVENT_BODY. Events are numbered; the laptop can ask for all again.
STATUS   see STATUS_BODY; ten times a second while the board is streaming.

Commands by ASK
---------------
hello    `wire`: version spoken. Answer: the board describes itself; `before_s`, `after_s`:
         the window that its memory guards, and `least_s`, what config.py asks for after
         the release. `readbacks`, only where config.py names some: name and GPIO of each, in
         the order of their bits. `bits` of one conversion (one of CONVERTER_BITS) and
         `reduction` make the sample's full scale, see full_scale. `pins`: GPIO numbers of
         release switch, key, drive, shunt, lamp, article wire, mount wire, flash, beat, the
         three of a 16-bit converter (start, clock, data), then one for each channel of the
         chip's own; -1 where nobody uses it. `flash_ms`: length of the flash, 0 for none.
         `refused`, only where the firmware does not run: the number of the reason
         (WRONG_CONFIG, UNFIT or NOT_STARTED) and, in `faults`, texts that say more: lines of
         config.py, the board, or the last lines of the traceback. Such a board has no pin as
         output, and refuses all but hello, status, prompt.
status   Answer: state, inputs, counters; `rest_us`, time with nothing to do
         (interrupts of the sampling are work), and
         `stamp_us`, both modulo 2**30.
stream   `on`: blocks flow (or stop) from the present one on. For health only.
arm      `by`: "drive" or "hand". Optional whole numbers, in values of a sample (see
         full_scale) of the first channel: `rail_low`, `rail_high`, at
         or beyond which the amplifier is at its limit, at arming and while armed;
         `level_low`, `level_high`, between which the mean of the quiet blocks must
         lie; `least_span`, the least largest minus smallest of a living chain over
         the quiet blocks. The board's config.py has its own of each, and the
         stricter of the two holds. Out of range, or low not below high: bad-value.
         Answer: `token` (hex), `first` (the block from which the laptop must store)
         and `armed` (the next block; a release is refused until it is on disk), or
         every reason why not, all at once.
fetch    `from`: block number. Board held: sends blocks from there and all
         events again. Answer: `oldest`, `head`, `release` (block), `kept` (where
         the event was: "memory", "flash", or "reset").
discard  Board held: forgets the event and goes to safe.
shunt    `on`: board safe: the switch of the shunt resistor. Off by itself in any other
         state, and when the laptop is silent.
prompt   Board safe: stops, and restarts at MicroPython's prompt, for installing.

Stamps are microseconds of the board's clock modulo 2**30 (17.9 min).

Flash
-----
While armed, hardware lights the sync flash at the first edge of each opening of the
release switch. An opening that turns out to be a knock puts it out; the flash of the
release is the last one, and the only one that stays on for its whole length. Where force
told of the release, the program lights it when it knows, late. Each lighting is a
`flash` event; how late it was is the distance of its stamp from that of the release.
"""

import binascii
import struct

VERSION = 2
SYNC = b"\xd7\xa5"
_SYNC0 = 0xD7
_SYNC1 = 0xA5

HEADER = "<2sBBHHH"
HEADER_BYTES = 10
CHECKED_BYTES = 8  # of the header, by the header check
TRAILER_BYTES = 4
OVERHEAD_BYTES = HEADER_BYTES + TRAILER_BYTES
MAX_PAYLOAD = 4352  # one block of 2048 values of 16 bits and its head, rounded up
MAX_COMMAND = 240  # payload that a board accepts

ASK = 0x01
ACK = 0x02
RELEASE = 0x03
ABORT = 0x04
FINISH = 0x05
ANSWER = 0x11
BLOCK = 0x12
EVENT = 0x13
STATUS = 0x14

ACK_BODY = "<IB"  # next, flags
ACK_AGAIN = 1
TOKEN_BYTES = 8

BLOCK_HEAD = "<IIIHHHBB"  # number, oldest, stamp_us, flags, lost, count, channels, bits
BLOCK_HEAD_BYTES = 20
BLOCK_FRAME = HEADER + BLOCK_HEAD[1:]  # both in a row, as they lie in a frame
SAMPLES_AT = HEADER_BYTES + BLOCK_HEAD_BYTES  # in the frame of a block
PLAIN_BITS = 16  # of a value as u16
PACKED_BITS = 12
FLAG_CONVERTER_OVERRUN = 1  # the converter's FIFO ran over within this block
FLAG_CONVERTER_ERROR = 2  # a conversion did not settle
FLAG_LATE = 4  # the block was handled after its raw memory was in use again

EVENT_BODY = "<HBBIHHiI"  # number, code, spare, block, offset, spare, value, stamp_us
EVENT_BODY_BYTES = 20

STATUS_BODY = "<BBBBIIIIHHI"  # state, reason, inputs, outputs, head, oldest, acked, lost,
#                               low, high (of the last block), stamp_us
STATUS_BODY_BYTES = 28

STATES = ("safe", "armed", "recording", "held")
SAFE, ARMED, RECORDING, HELD = range(4)

# Inputs, as bits: what the wires say. 0 is the reading of an open or broken wire.
INPUT_LATCHED = 1
INPUT_KEY_ON = 2
INPUT_ARTICLE_WHOLE = 4
INPUT_MOUNT_WHOLE = 8

INPUT_READBACK = 16  # the first of config.py's READBACKS; each further one is the next bit

EDGE_FLASH = 16  # of an edge, which a readback never is: the flash's own pin; open is lit

# What may be read back of the release chain, by name. A name's place tells it for ever.
READBACKS = ("stop", "gate", "pin", "screen", "supply")
MOST_READBACKS = 4

# Outputs, as bits; all low is the state after any reset.
OUTPUT_DRIVE = 1
OUTPUT_LAMP = 2
OUTPUT_FLASH = 4
OUTPUT_SHUNT = 8
OUTPUT_BEAT = 16

# Laptop only: cut out of what is compiled for a board, which has no memory for it.
EVENT_NAMES = {
    1: "armed",  # value: 1 by drive, 2 by hand
    2: "release-driven",
    3: "release-opened",  # first opening edge of a release that lasted
    4: "release-edge",  # any other edge of the switch; value: 1 open, 0 closed
    5: "knock",  # first opening edge of an opening that closed again for good: no release
    6: "went-safe",  # value: reason
    7: "recording-ended",  # value: reason
    8: "refused",  # value: reason
    9: "article-wire-opened",
    10: "mount-wire-opened",
    11: "key-turned",  # value: 1 on, 0 off
    12: "release-by-force",  # no switch told of the release; about where the line came taut
    13: "edges-lost",  # value: edges of inputs that are not in this list; the level told of them
    14: "flash",  # the sync flash was lit, by the stamp of its own pin; see Flash
    15: "readback",  # moved; seen by the loop. value: twice its place in READBACKS, + 1 if closed
}
# End of laptop only.
(
    EVENT_ARMED,
    EVENT_DRIVEN,
    EVENT_OPENED,
    EVENT_EDGE,
    EVENT_KNOCK,
    EVENT_WENT_SAFE,
    EVENT_ENDED,
    EVENT_REFUSED,
    EVENT_ARTICLE_WIRE,
    EVENT_MOUNT_WIRE,
    EVENT_KEY,
    EVENT_FORCE,
    EVENT_LOST,
    EVENT_FLASH,
    EVENT_READBACK,
) = range(1, 16)

# Laptop only: the board names reasons by their numbers.
REASONS = {
    1: ("aborted", "the laptop called the drop off"),
    2: ("key-off", "the arm key is off, or its wire is open"),
    3: ("not-latched", "the release switch is open: the sled is not latched, or a wire is open"),
    4: ("laptop-silent", "the laptop has fallen silent"),
    5: ("signal-clipped", "the force signal touches a limit of the converter"),
    6: ("signal-restless", "the force signal is not quiet"),
    7: ("not-sampling", "the converter delivers no samples"),
    8: ("event-held", "the board still holds the event of an earlier drop"),
    9: ("armed-too-long", "nothing was released within the longest armed time"),
    10: ("no-release", "the drive was pulsed and the release switch did not open"),
    11: ("wrong-state", "the board is not in a state that allows this"),
    12: ("wrong-token", "the release token is not the one given at arming"),
    13: ("by-hand", "the board was armed for a release by hand"),
    14: ("not-storing", "the laptop has not confirmed a block on disk since arming"),
    15: ("conversions-lost", "the converter loses conversions"),
    16: (
        "signal-off-zero",
        "the force signal is not where it is without a load: cell, cable, amplifier or zero",
    ),
    17: (
        "signal-dead",
        "the force signal is stiller than a living chain: open bridge, dead amplifier, cut wire",
    ),
    18: ("wrong-config", "the board's config.py is wrong; no pin is an output"),
    19: ("window-short", "the memory holds less than the guarded window of the board's config.py"),
    20: ("finished", "the laptop ended the recording"),
    21: ("window-complete", "the guarded window was completed without the laptop"),
    22: ("memory-full", "the laptop did not confirm blocks in time and the memory is full"),
    23: ("time-up", "the longest recording time has passed"),
    24: ("restarted", "the board restarted during the recording: what came until then is kept"),
    25: ("unfit", "the firmware must not run on this board; no pin is an output"),
    26: ("not-started", "the firmware did not start; no pin is an output"),
    # From READBACK_OPEN on: that of this place in READBACKS is open; see model/readbacks.py.
}
# End of laptop only.
(
    ABORTED,
    KEY_OFF,
    NOT_LATCHED,
    LAPTOP_SILENT,
    SIGNAL_CLIPPED,
    SIGNAL_RESTLESS,
    NOT_SAMPLING,
    EVENT_HELD,
    ARMED_TOO_LONG,
    NO_RELEASE,
    WRONG_STATE,
    WRONG_TOKEN,
    BY_HAND,
    NOT_STORING,
    CONVERSIONS_LOST,
    SIGNAL_OFF_ZERO,
    SIGNAL_DEAD,
    WRONG_CONFIG,
    WINDOW_SHORT,
) = range(1, 20)
FINISHED, WINDOW_COMPLETE, MEMORY_FULL, TIME_UP, RESTARTED, UNFIT, NOT_STARTED = range(20, 27)
READBACK_OPEN = 27

ERRORS = ("not-json", "not-a-command", "bad-value", "refused")

CONVERTER_BITS = (12, 16)  # of one conversion; wider ones would not fit a sample

TICKS_PERIOD_US = 1 << 30


def full_scale(bits, reduction):
    """Counts of a sample at full scale: volt = count x reference / full_scale.

    A sample is the sum of `reduction` conversions, a power of two, of `bits` bits. Where
    that takes more than 16 bits it is divided by the power of two that makes it fit,
    and rounded to the nearest, a half upwards: 16 bits give the mean.
    """
    return min(reduction << bits, 0x10000)


def ticks_elapsed_us(now_us, then_us):
    """Microseconds from `then_us` to `now_us`, right for spans under 2**29."""
    # No number on the way is above 2**30, which a board would have to allocate.
    elapsed_us = (now_us - then_us) & 0x3FFFFFFF
    return elapsed_us if elapsed_us < 0x20000000 else elapsed_us - 0x20000000 - 0x20000000


def u16(buffer, at):
    """Unsigned 16-bit number at a place of a buffer, without allocating."""
    return buffer[at] | buffer[at + 1] << 8


def u32(buffer, at):
    """Unsigned 32-bit number at a place of a buffer."""
    return u16(buffer, at) | u16(buffer, at + 2) << 16


class Check:
    """The CRC-32 of bytes; kept as state, never as a number.

    On a board a number above 2**30 would be allocated, and a slice too: its own
    class of the same methods (hardware/) does this without.
    """

    def __init__(self):
        self._value = 0

    def over(self, buffer, start, end):
        """Compute it over the bytes of a buffer from `start` to before `end`."""
        self._value = binascii.crc32(memoryview(buffer)[start:end])

    def put(self, buffer, at):
        """Write the check, four bytes, to a place of a buffer."""
        struct.pack_into("<I", buffer, at, self._value)

    def is_at(self, buffer, at):
        """Whether the four bytes at a place of a buffer are the check."""
        return u32(buffer, at) == self._value

    def low(self):
        """Low 16 bits."""
        return self._value & 0xFFFF

    # Laptop only:
    def seal(self, frame):
        """Write both checks of a frame that fills `frame` and whose other bytes are there."""
        end = len(frame) - TRAILER_BYTES
        self.over(frame, 0, CHECKED_BYTES)
        low = self.low()
        frame[CHECKED_BYTES] = low & 0xFF
        frame[CHECKED_BYTES + 1] = low >> 8
        self.over(frame, 0, end)
        self.put(frame, end)

    # End of laptop only.


def bits_for(reduction, converter_bits):
    """Bits of a value on the wire, by the largest sum of `reduction` conversions."""
    largest = ((1 << converter_bits) - 1) * reduction
    return PLAIN_BITS if largest >> PACKED_BITS else PACKED_BITS


def values_bytes(values, bits):
    """Bytes of so many values; of packed ones an even number."""
    return values * bits // 8


def block_frame_bytes(values, bits):
    """Bytes of the frame of a block of so many values."""
    return OVERHEAD_BYTES + BLOCK_HEAD_BYTES + values_bytes(values, bits)


def value_at(frame, place, bits):
    """One value of a block's frame, without allocating."""
    at = SAMPLES_AT + place * bits // 8
    if bits == PLAIN_BITS:
        return u16(frame, at)
    return u16(frame, at) >> 4 if place & 1 else u16(frame, at) & 0xFFF


# Laptop only:
def put_values(frame, plain, bits):
    """Write values, u16 each in `plain`, to a block's frame.

    The text of what packing is; a board has a loop of its own (hardware/).
    """
    at = SAMPLES_AT
    if bits == PLAIN_BITS:
        frame[at : at + len(plain)] = plain
        return
    for place in range(0, len(plain), 4):
        a, b = u16(plain, place), u16(plain, place + 2)
        frame[at] = a & 0xFF
        frame[at + 1] = (b & 15) << 4 | a >> 8
        frame[at + 2] = b >> 4
        at += 3


# End of laptop only.
def put_header(buffer, kind, length, sequence, check):
    """Write a frame's header to the first bytes of `buffer`; `check` is a Check."""
    struct.pack_into(HEADER, buffer, 0, SYNC, VERSION, kind, length, sequence & 0xFFFF, 0)
    check.over(buffer, 0, CHECKED_BYTES)
    low = check.low()
    buffer[8] = low & 0xFF
    buffer[9] = low >> 8


def close_frame(buffer, length, check):
    """Write the trailer of the frame in `buffer` behind its `length` payload bytes."""
    end = HEADER_BYTES + length
    check.over(buffer, 0, end)
    check.put(buffer, end)


def frame(kind, sequence, payload=b""):
    """One whole frame as bytes."""
    length = len(payload)
    if length > MAX_PAYLOAD:
        raise ValueError("`payload` has %d bytes, %d allowed" % (length, MAX_PAYLOAD))
    buffer = bytearray(OVERHEAD_BYTES + length)
    check = Check()
    put_header(buffer, kind, length, sequence, check)
    buffer[HEADER_BYTES : HEADER_BYTES + length] = payload
    close_frame(buffer, length, check)
    return bytes(buffer)


class Decoder:
    """Finds frames in a stream of bytes; knows nothing of ports or files.

    Call `feed` with whatever arrived, then `next` until it says False. Bad bytes
    are data, not exceptions: they are counted.

    Parameters
    ----------
    max_payload : int
        Frames with a longer payload are refused by their header.
    room : int
        Bytes of memory beyond two frames.
    check : Check, optional
        Computes the checks.

    Attributes
    ----------
    version, kind, sequence, length : int
        Header of the frame found last.
    at : int
        Place of its payload in `buffer`, valid until the next `feed`.
    damaged : int
        Frames whose header was right and whose payload was not.
    skipped : int
        Bytes that belong to no good frame.
    """

    def __init__(self, max_payload=MAX_PAYLOAD, room=0, check=None):
        self.buffer = bytearray(2 * (max_payload + OVERHEAD_BYTES) + room)
        self._view = memoryview(self.buffer)
        self._max_payload = max_payload
        self._check = check or Check()
        self._start = 0
        self._end = 0
        self.version = self.kind = self.sequence = self.length = self.at = 0
        self.damaged = 0
        self.skipped = 0

    def pending(self):
        """Bytes that may still become a frame."""
        return self._end - self._start

    # Laptop only:
    def room(self):
        """Bytes that one `feed` takes now."""
        return len(self.buffer) - self.pending()

    def feed(self, data):
        """Take bytes, at most `room()` of them."""
        count = len(data)
        if self._end + count > len(self.buffer):
            self._move_to_front()
        end = self._end + count
        self._view[self._end : end] = data
        self._end = end

    # End of laptop only.
    def feed_byte(self, byte):
        """Take one byte; the board's way, which allocates nothing."""
        if self._end == len(self.buffer):
            self._move_to_front()
        self.buffer[self._end] = byte
        self._end += 1

    def _move_to_front(self):
        count = self.pending()
        if count <= 64:
            # Small moves by hand: on the board a slice would allocate.
            for i in range(count):
                self.buffer[i] = self.buffer[self._start + i]
        else:
            self.buffer[:count] = self.buffer[self._start : self._end]
        self._start = 0
        self._end = count

    def next(self):
        """Find the next good frame.

        Returns
        -------
        bool
            True when `kind`, `sequence`, `length` and `at` describe a frame.
        """
        while self._seek_sync() and self.pending() >= HEADER_BYTES:
            start = self._start
            length = u16(self.buffer, start + 4)
            if length > self._max_payload or not self._header_is_good(start):
                self._skip(1)
                continue
            end = start + HEADER_BYTES + length
            if end + TRAILER_BYTES > self._end:
                return False
            self._check.over(self._view, start, end)
            if not self._check.is_at(self.buffer, end):
                self.damaged += 1
                self._skip(1)
                continue
            self.version = self.buffer[start + 2]
            self.kind = self.buffer[start + 3]
            self.length = length
            self.sequence = u16(self.buffer, start + 6)
            self.at = start + HEADER_BYTES
            self._start = end + TRAILER_BYTES
            return True
        return False

    def payload(self):
        """Payload of the frame found last, as a view valid until the next `feed`."""
        return self._view[self.at : self.at + self.length]

    def _header_is_good(self, start):
        self._check.over(self._view, start, start + CHECKED_BYTES)
        return self._check.low() == u16(self.buffer, start + CHECKED_BYTES)

    def _seek_sync(self):
        """Skip to the next sync; False when there is none yet."""
        buffer = self.buffer
        start = self._start
        if self._end - start < 2:
            return False
        if buffer[start] == _SYNC0 and buffer[start + 1] == _SYNC1:
            return True
        found = buffer.find(SYNC, start, self._end)
        if found >= 0:
            self._skip(found - start)
            return True
        # The last byte may be the first half of a sync.
        keep = 1 if buffer[self._end - 1] == _SYNC0 else 0
        self._skip(self._end - keep - start)
        return False

    def _skip(self, count):
        self._start += count
        self.skipped += count
