"""A strict board: time, pins and samples by hand, and a link that takes little at a time."""

import json
from collections import deque

import config as real_config
import wire
from instrument import Instrument

TICKS = wire.TICKS_PERIOD_US
QUIET = 4480  # a count that is neither clipped nor restless
NOISE = [0, 11, 22, 8, 19, 5, 16, 2, 13, 24, 10, 21, 7, 18, 4, 15, 1, 12, 23, 9, 20, 6, 17, 3, 14]
LOUDEST = max(NOISE)


def content(number, level=QUIET, noise=NOISE):
    """The samples of a block: noise on a level, another in every block."""
    values = [level + noise[(number + at) % len(noise)] for at in range(16)]
    return wire.struct.pack("<16H", *values)


class Config:
    """The firmware's config with small memory, so that tests are quick."""

    CHANNELS = ("force",)
    PIN_SWITCH, PIN_KEY, PIN_DRIVE, PIN_SHUNT, PIN_LAMP = 10, 11, 12, 13, 14
    PIN_ARTICLE_WIRE, PIN_MOUNT_WIRE, PIN_FLASH, PIN_BEAT = 15, 16, 17, 18
    PIN_CONVERTER = (26,)
    PIN_CONVERSION_START, PIN_CONVERSION_CLOCK, PIN_CONVERSION_DATA = 19, 20, 21
    READBACKS = ()
    CONVERSION_RATE_HZ = 500_000
    CONVERTER_BITS = 12
    REDUCTION = 8
    SAMPLES_PER_BLOCK = 16
    HISTORY_BLOCKS = 24
    GUARD_BEFORE_S = 0.0005  # 2 blocks and a part
    GUARD_AFTER_S = 0.004  # 15 blocks and a part
    RELEASE_PULSE_MS = 40
    RELEASE_WAIT_MS = 150
    RELEASE_CONFIRM_MS = 2
    RELEASE_BOUNCE_MS = 1
    FORCE_TRIGGER = 300
    FLASH_MS = 5
    LAPTOP_SILENCE_MS = 200
    ARMED_LONGEST_S = 2
    RECORDING_LONGEST_S = 3
    SIGNAL_LOWEST = real_config.SIGNAL_LOWEST
    SIGNAL_HIGHEST = real_config.SIGNAL_HIGHEST
    LEVEL_LOWEST = real_config.LEVEL_LOWEST
    LEVEL_HIGHEST = real_config.LEVEL_HIGHEST
    LEAST_SPAN = real_config.LEAST_SPAN
    QUIET_SPAN = real_config.QUIET_SPAN
    QUIET_BLOCKS = 4
    STATUS_INTERVAL_MS = 100
    EVENT_FILE = ""
    COPY_AFTER_S = 1


BLOCK_US = 16 * 8 * 2  # 256


class FakeBoard:
    """A board whose owner moves time on; refuses what no real board would be asked.

    Attributes
    ----------
    drive_log : list of (time_us, level)
        Every change of the release drive's pin.
    noise : list of int
        What lies on the level, sample after sample.
    bounce_ms : float
        An opening of the switch within so long of a closing is a bounce.
    """

    bounce_ms = Config.RELEASE_BOUNCE_MS

    def __init__(self, take=7, start_us=0):
        self.check = wire.Check()
        self.regulator = ""
        self.rest_us = 0
        self.now_us = self._start_us = start_us  # sample 0 is taken then
        self.take = take  # bytes that the link takes in one write; 0 is a stalled host
        self.sent = bytearray()
        self.level = QUIET
        self.noise = NOISE
        self.closed = (
            wire.INPUT_LATCHED
            | wire.INPUT_KEY_ON
            | wire.INPUT_ARTICLE_WHOLE
            | wire.INPUT_MOUNT_WHOLE
        )
        self.outputs = 0
        self.drive_log = []
        self.quiet = False
        self.samples_lost = 0
        self._incoming = deque()
        self._edges = deque()
        self._meanwhile = {}
        self._key_was_off = False
        self.edges_lost = 0
        self.beats = 0
        self.flash_armed = False
        self.closed_us = -(1 << 30)  # the switch, for the last time
        self.history = None

    # What the instrument calls

    def name(self):
        return "fake board"

    def serial(self):
        return "fake-1"

    def random_bytes(self, count):
        self.tokens = getattr(self, "tokens", 0) + 1
        return bytes([self.tokens] * count)

    def memory(self, count):
        return bytearray(count)

    def start(self, history):
        assert self.history is None, "started twice"
        self.history = history

    def set_quiet(self, quiet):
        assert quiet != self.quiet, "told twice"
        self.quiet = quiet

    def poll(self, may_rest):
        pass

    def ticks_us(self):
        return self.now_us % TICKS

    def inputs(self):
        closed = self.closed
        self._happens("inputs")
        return closed

    def output(self, bits):
        assert bits != self.outputs or bits & wire.OUTPUT_BEAT or bits == 0
        self.beats += bits & wire.OUTPUT_BEAT != 0
        if not bits & (wire.OUTPUT_LAMP | wire.OUTPUT_FLASH):
            self.flash_armed = False
        self._happens("output")
        rises = bits & ~self.outputs & wire.OUTPUT_DRIVE
        self.outputs = bits
        if not bits & wire.OUTPUT_DRIVE:
            self._drive(0)
        elif rises and not self._key_was_off and self.closed & wire.INPUT_KEY_ON:
            self._drive(wire.OUTPUT_DRIVE)

    def _drive(self, level):
        if level != (self.drive_log[-1][1] if self.drive_log else 0):
            self.drive_log.append((self.now_us, level))

    def arm_flash(self):
        self.flash_armed = True

    def light_flash(self):
        self._edges.append((wire.EDGE_FLASH, 0, self.now_us))

    def watch_key(self):
        self._key_was_off = False

    def key_was_off(self):
        return self._key_was_off

    def lost_edges(self):
        lost, self.edges_lost = self.edges_lost, 0
        return lost

    def next_edge(self):
        if not self._edges:
            self._happens("edges")
            return False
        self.edge_input, self.edge_closed, at_us = self._edges.popleft()
        self.edge_block, within_us = divmod(at_us - self._start_us, BLOCK_US)
        self.edge_offset = within_us // 16
        self.edge_us = at_us % TICKS
        return True

    def free_bytes(self):
        return 20000

    def read_byte(self):
        byte = self._incoming.popleft() if self._incoming else -1
        if byte < 0:
            self._happens("link")
        return byte

    def write(self, view, start, end):
        assert 0 <= start < end <= len(view)
        count = min(self.take, end - start)
        self.sent += view[start : start + count]
        return count

    # What the test calls

    def receive(self, data):
        self._incoming.extend(data)

    def pass_blocks(self, count):
        """Let `count` blocks be sampled, as the interrupt does."""
        for _ in range(count):
            self.now_us += BLOCK_US
            slot = self.history.claim()
            if slot >= 0:
                number = self.history.head
                data = content(number, self.level, self.noise)
                wire.put_values(self.history.frames[slot], data, self.history.bits)
                values = wire.struct.unpack("<16H", data)
                lost = self.samples_lost
                self.history.commit(self.ticks_us(), 0, lost, min(values), max(values))

    def move(self, bit, closed):
        """Open or close a contact now."""
        self.closed = self.closed & ~bit | (bit if closed else 0)
        self._edges.append((bit, int(closed), self.now_us))
        if bit == wire.INPUT_LATCHED:
            self._light_by_switch(closed)
        if bit == wire.INPUT_KEY_ON and not closed:
            self._key_was_off = True  # the interrupt of the key
            self._drive(0)

    def _light_by_switch(self, closed):
        """Hardware lights the flash where an opening begins, not where it bounces."""
        if closed:
            self.closed_us = self.now_us
        elif self.flash_armed and self.now_us - self.closed_us > 1000 * self.bounce_ms:
            self._edges.append((wire.EDGE_FLASH, 0, self.now_us + 2))

    def meanwhile(self, after, *actions):
        """Let things happen within the next step, once it has read what `after` names.

        "edges", "inputs", "link" or "output": a main loop that is slow, or held up.
        """
        self._meanwhile.setdefault(after, []).extend(actions)

    def _happens(self, after):
        for action in self._meanwhile.pop(after, ()):
            action()

    def pass_us(self, span_us):
        """Let time pass, with the blocks that are sampled in it."""
        end_us = self.now_us + span_us
        self.pass_blocks(span_us // BLOCK_US)
        self.now_us = end_us


class Bench:
    """A real Instrument on a fake board, and a laptop that speaks by hand."""

    def __init__(self, take=1 << 16, start_us=0, **changes):
        self.board = FakeBoard(take, start_us)
        config = type("Changed", (Config,), changes)
        self.instrument = Instrument(self.board, config)
        self.decoder = wire.Decoder(wire.MAX_PAYLOAD)
        self.sequence = 0
        self.messages = []
        self.laptop_alive = True
        self.may_be_damaged = False

    @property
    def state(self):
        return self.instrument.states.now

    def send(self, kind, payload=b""):
        self.board.receive(wire.frame(kind, self.sequence, payload))
        self.sequence += 1
        return self.sequence - 1

    def ask(self, name, **fields):
        """Ask, step, and return the answer."""
        sequence = self.send(wire.ASK, json.dumps({"do": name, **fields}).encode())
        for _ in range(40):
            self.instrument.step()
            for kind, body in self.read():
                if kind == wire.ANSWER:
                    answer = json.loads(body)
                    if answer["to"] == sequence:
                        return answer
        raise AssertionError("no answer")

    def read(self):
        """New frames from the board, as (kind, payload)."""
        fresh = []
        sent, self.board.sent = bytes(self.board.sent), bytearray()
        for start in range(0, len(sent), 4096):
            self.decoder.feed(sent[start : start + 4096])
            while self.decoder.next():
                fresh.append((self.decoder.kind, bytes(self.decoder.payload())))
        assert self.decoder.damaged == 0 or self.may_be_damaged
        self.messages += fresh
        return fresh

    def run(self, blocks, *, acknowledge=True):
        """Let blocks pass, a step after each; the laptop says that all is on disk."""
        for _ in range(blocks):
            self.board.pass_blocks(1)
            if self.laptop_alive and acknowledge:
                self.acknowledge()
            self.instrument.step()
            self.check()

    def acknowledge(self, next_block=None, again=0):
        head = self.instrument.history.head
        number = head if next_block is None else next_block
        self.send(wire.ACK, wire.struct.pack(wire.ACK_BODY, number, again))

    def check(self):
        """What must hold after every step."""
        outputs = self.board.outputs
        if outputs & wire.OUTPUT_DRIVE:
            assert self.state == wire.ARMED
        if outputs & (wire.OUTPUT_LAMP | wire.OUTPUT_BEAT):
            assert self.state == wire.ARMED
        assert self.board.quiet == (self.state in (wire.ARMED, wire.RECORDING))

    def arm(self, by="drive"):
        """Arm and store until a release is allowed; the token."""
        self.run(8)
        answer = self.ask("arm", by=by)
        assert answer["ok"], answer
        self.run(3)
        return bytes.fromhex(answer["token"])

    def release(self, token):
        """Pulse, and let the switch open for good."""
        self.send(wire.RELEASE, token)
        self.run(4)
        assert self.board.outputs & wire.OUTPUT_DRIVE
        self.board.move(wire.INPUT_LATCHED, False)
        self.run(12)
        assert self.state == wire.RECORDING

    def events(self):
        """Names, values and places of all events sent."""
        self.read()
        found = []
        for kind, body in self.messages:
            if kind == wire.EVENT:
                number, code, _, block, offset, _, value, _ = wire.struct.unpack(
                    wire.EVENT_BODY, body
                )
                found.append((wire.EVENT_NAMES[code], value, block, offset, number))
        return found

    def blocks(self):
        """Numbers and contents of all blocks sent."""
        self.read()
        return [
            (wire.u32(body, 0), body[wire.BLOCK_HEAD_BYTES :])
            for kind, body in self.messages
            if kind == wire.BLOCK
        ]
