"""A board in this process that does whole drops by a clock of its own, and lies as it is told."""

import functools
import json
from dataclasses import dataclass, field, replace

import numpy as np
from traces import RATE_HZ, arrest

from fakes.link import HELLO
from tautlog.board.session import Session
from tautlog.drop.granting import permitted
from tautlog.drop.outcome import DropPlan
from tautlog.drop.recovery import Known
from tautlog.errors import LinkError
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup

PER_BLOCK, HISTORY = 1024, 68
BLOCK_S = PER_BLOCK / RATE_HZ
GUARDED = 61  # blocks after the release
STEP_S = 0.01  # of the clock, at every read
SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0, article="bridle-1")
CALIBRATION = Calibration(
    newton_per_volt=1000.0, zero_v=0.5, range_n=2700.0, expanded_u_fraction=0.01, date="2026-03-01"
)
CODES = {name: code for code, name in wire.EVENT_NAMES.items()}
ONSET = 30  # block, from that of the release, in which the line comes taut
PEAK = 33


@dataclass(frozen=True)
class Lies:
    """What this board does wrong; blocks are counted from that of the release.

    Attributes
    ----------
    lets_go_after_s : float or None
        It opens so long after arming, asked or not.
    withheld : frozenset of int
        Blocks that it never sends; `lost_once`, not the first time.
    oldest : int or None
        What it says that it still holds; None for the truth.
    changed, reflagged : frozenset of int
        Blocks that it sends again with other samples, or flagged.
    strays : frozenset of int
        Blocks after which one comes that is numbered a million ahead.
    shapes : dict of int to (int, int)
        Blocks with another count of samples and channels, of as many bytes.
    short : frozenset of int
        Blocks with fewer bytes than they say.
    more : tuple of (name, samples, value)
        Events that it tells besides, placed from the release.
    untold, lost_events : frozenset of str
        Events that it never tells; whose frames are lost the first time.
    says : dict of str to str
        State that it tells instead of another.
    lost_more : int
        Conversions that its status counts as lost from the release on.
    clock_jumps_at : int or None
        Block from which on its clock is 0.2 s ahead.
    misses_discard : bool
        The cable is out when it should forget.
    moved_s : float
        By which it stamps the release wrongly.
    """

    lets_go_after_s: float | None = None
    withheld: frozenset = frozenset()
    lost_once: frozenset = frozenset()
    oldest: int | None = None
    changed: frozenset = frozenset()
    reflagged: frozenset = frozenset()
    strays: frozenset = frozenset()
    shapes: dict = field(default_factory=dict)
    short: frozenset = frozenset()
    more: tuple = ()
    untold: frozenset = frozenset()
    lost_events: frozenset = frozenset()
    says: dict = field(default_factory=dict)
    lost_more: int = 0
    clock_jumps_at: int | None = None
    misses_discard: bool = False
    moved_s: float = 0.0


@functools.cache
def counts_of_the_drop():
    force_n = arrest(9.0, 1.2, 20_800.0, 0.12, total_s=4.0)[1]
    return np.concatenate([force_n, np.full(int(8 * RATE_HZ), force_n[-1])])


class DropBoard:
    """A link to such a board.

    Attributes
    ----------
    state, reason : int
        As on the wire.
    heard : list of str
        What was asked, RELEASE, ABORT and FINISH among it.
    on_time : list of (float, callable)
        What happens at which second of the clock.
    """

    def __init__(self, lies=Lies(), serial="f-1"):
        self.lies, self.serial = lies, serial
        self.now_s = 1.0
        self.state = self.reason = 0
        self.heard, self.on_time = [], []
        self.streaming = self.out = False
        self.unsent = self.acked = 0
        self.release = self.armed_s = self.last = None
        self.events, self._numbers = [], 0
        self._sent, self._outgoing = set(), bytearray()
        self._sequence = 0
        self._status_s = 0.0
        self._decoder = wire.Decoder(wire.MAX_COMMAND, 4096)

    # What a session calls

    def clock(self):
        return self.now_s

    def close(self):
        pass

    def read(self):
        if self.out:
            raise LinkError("the cable is out")
        self.now_s += STEP_S
        while self.on_time and self.on_time[0][0] <= self.now_s:
            self.on_time.pop(0)[1]()
        self._live()
        data, self._outgoing = bytes(self._outgoing), bytearray()
        return data

    def write(self, data):
        if self.out:
            raise LinkError("the cable is out")
        self._decoder.feed(data)
        while self._decoder.next():
            self._obey(self._decoder.kind, bytes(self._decoder.payload()))

    # What the board does

    @property
    def head(self):
        return int(self.now_s / BLOCK_S) if self.last is None else self.last

    def _live(self):
        after_s = self.lies.lets_go_after_s
        if self.state == wire.ARMED and after_s is not None and self.now_s > self.armed_s + after_s:
            self.open()
        ending = self.state == wire.RECORDING and self.reason
        if ending and self.head > self.release // PER_BLOCK + GUARDED:
            self.last = self.head
            self.state = wire.HELD
            self.tell("recording-ended", self.head * PER_BLOCK, self.reason)
        self._stream()
        if self.streaming and self.now_s >= self._status_s + 0.1:
            self._status_s = self.now_s
            self._send_status()

    def open(self):
        """The switch opens."""
        index = round(self.now_s * RATE_HZ)
        self.release, self.state, self.reason = index, wire.RECORDING, 0
        self.tell("release-opened", index + round(self.lies.moved_s * RATE_HZ), stamp_at=index)
        for name, samples, value in self.lies.more:
            self.tell(name, index + samples, value)

    def tell(self, name, index, value=0, stamp_at=None):
        """Note an event and send it."""
        if name in self.lies.untold:
            return
        stamp_us = round((index if stamp_at is None else stamp_at) * 1e6 / RATE_HZ)
        stamp_us %= wire.TICKS_PERIOD_US
        block, offset = divmod(max(index, 0), PER_BLOCK)
        body = wire.struct.pack(
            wire.EVENT_BODY, self._numbers, CODES[name], 0, block, offset, 0, value, stamp_us
        )
        self._numbers += 1
        self.events.append(body)
        if name not in self.lies.lost_events:
            self._send(wire.EVENT, body)

    def _obey(self, kind, payload):
        if kind == wire.ASK:
            command = json.loads(payload)
            self.heard.append(command["do"])
            self._answer(command)
        elif kind == wire.ACK:
            number, flags = wire.struct.unpack(wire.ACK_BODY, payload)
            self.acked = number
            if flags & wire.ACK_AGAIN:
                self.unsent = min(number, self.head)
        else:
            names = {wire.RELEASE: "RELEASE", wire.ABORT: "ABORT", wire.FINISH: "FINISH"}
            self.heard.append(names[kind])
            self._command(kind)

    def _command(self, kind):
        if kind == wire.RELEASE and self.state == wire.ARMED:
            self.tell("release-driven", round(self.now_s * RATE_HZ))
            self.now_s += 0.008  # that the latch takes
            self.open()
        elif kind == wire.ABORT and self.state == wire.ARMED:
            self.state = wire.SAFE
            self.tell("went-safe", round(self.now_s * RATE_HZ), wire.ABORTED)
        elif self.state == wire.RECORDING and not self.reason:
            self.reason = wire.FINISHED if kind == wire.FINISH else wire.ABORTED

    def _answer(self, command):
        name, answer = command["do"], {"ok": True}
        if name == "hello":
            answer |= HELLO | {"per_block": PER_BLOCK, "history": HISTORY, "serial": self.serial}
        elif name == "stream":
            self.streaming, self.unsent = command["on"], self.head
            answer |= {"first": self.head}
        elif name == "arm":
            answer |= self._arm(command["by"] == "hand")
        elif name == "fetch":
            self.unsent = max(min(command["from"], self.head), self._first())
            self.streaming = True
            for body in self.events:
                self._send(wire.EVENT, body)
            answer |= {"oldest": self._first(), "head": self.head, "kept": "memory"}
        elif name == "discard":
            if self.lies.misses_discard:
                return
            self.state, self.streaming, self.last = wire.SAFE, False, None
        answer |= {"to": self._decoder.sequence, "state": wire.STATES[self.state]}
        self._send(wire.ANSWER, json.dumps(answer).encode())

    def _arm(self, by_hand):
        first = self.head - 4
        self.state, self.streaming, self.unsent = wire.ARMED, True, first
        self.armed_s, self.events = self.now_s, []
        self.tell("armed", self.head * PER_BLOCK, 2 if by_hand else 1)
        return {"token": "00" * 8, "first": first, "armed": self.head}

    def _first(self):
        return self.release // PER_BLOCK - 4

    # What it sends

    def _send(self, kind, payload):
        self._outgoing += wire.frame(kind, self._sequence, payload)
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _stream(self):
        for _ in range(8):
            if self.streaming and self.unsent < self.head:
                self._send_block(self.unsent)
                self.unsent += 1

    def _since_release(self, number):
        return number - self.release // PER_BLOCK if self.release is not None else -(1 << 20)

    def _send_block(self, number):
        lies, at, again = self.lies, self._since_release(number), number in self._sent
        self._sent.add(number)
        if at in lies.withheld or (at in lies.lost_once and not again):
            return
        self._send_samples(number, self._samples(number), 0)
        if at in lies.changed and not again:
            self._send_samples(number, self._samples(number) + 1, 0)
        if at in lies.reflagged and not again:
            self._send_samples(number, self._samples(number), 7)
        if at in lies.strays and not again:
            self._send_samples(number + 1_000_000, self._samples(number), 0)

    def _samples(self, number):
        index = np.arange(number * PER_BLOCK, (number + 1) * PER_BLOCK)
        force_n = np.zeros(PER_BLOCK)
        if self.release is not None:
            since = index - self.release
            drop_n = counts_of_the_drop()
            force_n = np.where(since < 0, 0.0, drop_n[np.clip(since, 0, drop_n.size - 1)])
        noise = np.random.default_rng(number).normal(0.0, 0.5, PER_BLOCK)
        volts = 0.5 + (force_n + noise) / CALIBRATION.newton_per_volt
        return np.round(volts / CALIBRATION.volt_per_count(8)).astype("<u2")

    def _send_samples(self, number, samples, lost):
        lies, at = self.lies, self._since_release(number)
        stamp_us = round((number + 1) * BLOCK_S * 1e6)
        if lies.clock_jumps_at is not None and at >= lies.clock_jumps_at:
            stamp_us += 200_000
        count, channels = lies.shapes.get(at, (PER_BLOCK, 1))
        body = samples.tobytes()[: 2 * count * channels]
        oldest = max(self.head - HISTORY, 0) if lies.oldest is None else lies.oldest
        head = wire.struct.pack(
            wire.BLOCK_HEAD,
            *(number, oldest, stamp_us % wire.TICKS_PERIOD_US, 0, lost, count, channels, 16),
        )
        self._send(wire.BLOCK, head + (body[:-2] if at in lies.short else body))

    def _send_status(self):
        told = self.lies.says.get(wire.STATES[self.state], wire.STATES[self.state])
        lost = self.lies.lost_more if self.release is not None else 0
        stamp_us = round(self.now_s * 1e6) % wire.TICKS_PERIOD_US
        oldest = max(self.head - HISTORY, 0)
        self._send(
            wire.STATUS,
            wire.struct.pack(
                wire.STATUS_BODY,
                *(wire.STATES.index(told), self.reason, 15, 0, self.head, oldest),
                *(self.acked, lost, 4480, 4490, stamp_us),
            ),
        )


def plan_at(path, **changes):
    """A drop of that board: half a second of countdown, 3 s of recording."""
    permit = permitted(None, SETUP, calibration=CALIBRATION, say=lambda text: None)
    plan = DropPlan(path=path, permit=permit)
    return replace(plan, **{"countdown_s": 0.5, "record_s": 3.0} | changes)


KNOWN = Known(SETUP, CALIBRATION)


def session_with(board, **options):
    """A session on its clock."""
    return Session(board, clock=board.clock, **options)
