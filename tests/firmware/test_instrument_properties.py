"""Random lives of a board: what must hold whatever happens, in whatever order."""

import random

import pytest
from fakes.board import BLOCK_US, Bench, Config
from hypothesis import given, settings
from hypothesis import strategies as st

import wire

DRIVE = wire.OUTPUT_DRIVE
READ_BACK = 3 * wire.INPUT_READBACK
LONGEST_US = Config.RELEASE_PULSE_MS * 1000 + 2 * BLOCK_US


class Life:
    """A board that things happen to, and the rules that it is held to."""

    def __init__(self):
        self.bench = Bench(READBACKS=(("gate", 3), ("stop", 2)))
        self.bench.board.closed |= READ_BACK
        self.token = b""
        self.fresh = False  # the token was given at the present arming and not used
        self.held_from = None
        self.bench.run(8)

    def happen(self, name, value):
        before, outputs = self.bench.state, self.bench.board.outputs
        pulses = len(self.bench.board.drive_log)
        sent_token = getattr(self, "_" + name)(value)
        self.bench.instrument.step()
        self.bench.check()
        self._judge(before, outputs, pulses, sent_token)

    def _judge(self, before, outputs, pulses, sent_token):
        board, state = self.bench.board, self.bench.state
        if len(board.drive_log) > pulses and board.drive_log[-1][1]:
            assert before == wire.ARMED
            assert sent_token
            assert self.fresh
            assert board.closed & wire.INPUT_KEY_ON
            assert board.closed & READ_BACK == READ_BACK
            self.fresh = False
        if before == wire.HELD and state != wire.HELD:
            assert self.discarded, "a held event was given up"
        if (before, state) not in ALLOWED:
            raise AssertionError(f"{wire.STATES[before]} to {wire.STATES[state]}")
        for (up_us, up), (down_us, _) in zip(board.drive_log, board.drive_log[1:], strict=False):
            assert not up or down_us - up_us <= LONGEST_US
        if board.outputs & DRIVE:
            assert board.now_us - board.drive_log[-1][0] <= LONGEST_US

    def _pass(self, count):
        for _ in range(count):
            self.bench.board.pass_blocks(1)
            self.bench.instrument.step()
            self.bench.check()

    def _live(self, count):
        self.bench.run(count)

    def _arm(self, value):
        answer = self.bench.ask("arm", by="drive" if value % 4 else "hand")
        if answer["ok"]:
            self.token, self.fresh = bytes.fromhex(answer["token"]), True

    def _release(self, value):
        right = value % 3 != 0
        self.bench.send(wire.RELEASE, self.token if right else bytes([value % 256]) * 8)
        return right and bool(self.token)

    def _abort(self, value):
        self.bench.send(wire.ABORT)

    def _finish(self, value):
        self.bench.send(wire.FINISH)

    def _discard(self, value):
        self.discarded = True
        self.bench.ask("discard")
        self.discarded = self.bench.state == wire.SAFE

    def _key(self, value):
        self.bench.board.move(wire.INPUT_KEY_ON, value % 2)

    def _contact(self, value):
        bit = wire.INPUT_READBACK << value % 2
        self.bench.board.closed = self.bench.board.closed & ~bit | (bit if value & 2 else 0)

    def _switch(self, value):
        self.bench.board.move(wire.INPUT_LATCHED, value % 2)

    def _level(self, value):
        self.bench.board.level = (0, 4480, 4480, 32700)[value % 4]

    def _take(self, value):
        self.bench.board.take = (0, 1, 40, 1 << 16)[value % 4]

    def _noise(self, value):
        self.bench.board.receive(random.Random(value).randbytes(value % 90))

    def _cut(self, value):
        whole = wire.frame(wire.RELEASE, 0, self.token or b"\1" * 8)
        self.bench.board.receive(whole[: value % len(whole)])


ALLOWED = {(one, one) for one in range(4)} | {
    (wire.SAFE, wire.ARMED),
    (wire.ARMED, wire.SAFE),
    (wire.ARMED, wire.RECORDING),
    (wire.RECORDING, wire.HELD),
    (wire.ARMED, wire.HELD),  # in one step of many blocks
    (wire.HELD, wire.SAFE),
}
NAMES = [one[1:] for one in vars(Life) if one.startswith("_") and one[1] not in "_j"]
HAPPENINGS = st.lists(st.tuples(st.sampled_from(NAMES), st.integers(0, 40)), max_size=40)


@settings(max_examples=150)
@given(HAPPENINGS)
def test_whatever_happens(happenings):
    life = Life()
    for name, value in happenings:
        if name in ("arm", "discard"):
            life.bench.board.take = 1 << 16  # they wait for an answer
            life.bench.may_be_damaged = True
        life.happen(name, value)


def test_the_way_to_a_release_is_among_what_happens():
    """The property above would hold of a board that never does anything."""
    life = Life()
    for name, value in [("arm", 1), ("live", 3), ("release", 1)]:
        life.happen(name, value)
    assert life.bench.board.outputs & DRIVE
    for name, value in [("switch", 0), ("live", 12), ("finish", 0), ("live", 30)]:
        life.happen(name, value)
    assert life.bench.state == wire.HELD
    life.happen("discard", 0)
    assert life.bench.state == wire.SAFE


def bombard(count, seed):
    bench = Bench()
    bench.may_be_damaged = True
    bench.arm()
    source = random.Random(seed)
    sent = 0
    while sent < count:
        piece = source.randbytes(64)
        if source.random() < 0.2:  # a good header now and then
            kind = source.choice([wire.ASK, wire.ACK, wire.RELEASE, wire.FINISH, 0, 255])
            piece = wire.frame(kind, sent & 0xFFFF, source.randbytes(source.randrange(40)))
        bench.board.receive(piece)
        sent += len(piece)
        bench.board.pass_blocks(1)
        bench.instrument.step()
        bench.check()
        bench.board.sent.clear()
    assert bench.board.drive_log == []
    bench.board.move(wire.INPUT_LATCHED, True)
    for _ in range(2000):  # what is still in the line, then silence
        bench.board.pass_blocks(1)
        bench.instrument.step()
    assert bench.state in (wire.SAFE, wire.HELD)


def test_random_bytes_never_raise_the_drive():
    bombard(60_000, 1)


@pytest.mark.long
def test_a_million_random_bytes_never_raise_the_drive():
    bombard(1_000_000, 2)


@settings(max_examples=60)
@given(
    st.integers(0, 30),
    st.integers(0, 25),
    st.integers(0, 3),
    st.sampled_from([0, 1, 33, 1 << 16]),
)
def test_the_event_is_whole_whenever_the_cable_goes(before, after, gone, take):
    """The laptop vanishes at any block around the release; the window is kept."""
    bench = Bench()
    bench.may_be_damaged = True
    bench.run(before)
    bench.release(bench.arm())
    release_block = bench.instrument._release_block
    stored = bench.instrument.history.acked
    for _ in range(after):
        bench.run(1)
        stored = max(stored, bench.instrument.history.acked)
    bench.laptop_alive = False
    bench.board.take = take
    bench.run(1200)
    ring = bench.instrument.history
    assert bench.state == wire.HELD
    first = release_block - 2  # GUARD_BEFORE_S, in whole blocks
    assert ring.oldest <= max(first, stored)
    assert ring.head > release_block + 15  # GUARD_AFTER_S
