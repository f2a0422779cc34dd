"""A link to a board that is made of frames, and that behaves worse than a cable."""

import json
import random

from tautlog.errors import LinkError
from tautlog.firmware import wire

PER_BLOCK = 16
HELLO = {
    "ok": True,
    "wire": wire.VERSION,
    "firmware": "0.1.0",
    "board": "frames",
    "serial": "f-1",
    "rate_hz": 62500.0,
    "reduction": 8,
    "channels": ["force"],
    "per_block": PER_BLOCK,
    "history": 24,
    "bits": 12,
    "silence_s": 2.0,
    "before_s": 0.05,
    "after_s": 1.0,
    "state": "safe",
}


def block_body(number):
    """Samples that say which block they belong to."""
    return bytes([number & 0xFF, (number >> 8) & 0x0F]) * PER_BLOCK


class FrameLink:
    """A board that answers, streams blocks on demand, and a line that is bad.

    Parameters
    ----------
    seed : int
        Of everything that goes wrong.
    damage, drop, short : float
        Chance that a frame has a flipped bit, is lost, or that a read is cut short.
    """

    def __init__(self, *, seed=0, damage=0.0, drop=0.0, short=0.5, window=24):
        self.random = random.Random(seed)
        self.damage, self.drop, self.short = damage, drop, short
        self.window = window
        self.now_s = 0.0
        self.outgoing = bytearray()
        self.decoder = wire.Decoder(wire.MAX_COMMAND, 4096)
        self.asked = []
        self.acks = []
        self.on_ack = lambda next_block: None
        self.head = 0
        self.unsent = 0
        self.oldest = 0
        self.acked = 0
        self.sequence = 0
        self.answers = {"hello": HELLO}
        self.gone = False
        self.version = wire.VERSION
        self.limit = 1 << 30
        self.status_s = 0.0

    # What a session calls

    def clock(self):
        return self.now_s

    def read(self):
        if self.gone:
            raise LinkError("the cable is out")
        self.now_s += 0.005
        self._stream()
        count = len(self.outgoing)
        if count and self.random.random() < self.short:
            count = self.random.randrange(count + 1)
        data = bytes(self.outgoing[:count])
        del self.outgoing[:count]
        return data

    def write(self, data):
        if self.gone:
            raise LinkError("the cable is out")
        self.decoder.feed(data)
        while self.decoder.next():
            self._obey(self.decoder.kind, bytes(self.decoder.payload()))

    def close(self):
        self.gone = True

    # What the board does

    def _obey(self, kind, payload):
        if kind == wire.ASK:
            command = json.loads(payload)
            self.asked.append(command)
            answer = self.answers.get(command["do"])
            if answer is not None:
                body = json.dumps({"to": self.decoder.sequence, **answer}).encode()
                self.send(wire.ANSWER, body)
        elif kind == wire.ACK:
            number, flags = wire.struct.unpack(wire.ACK_BODY, payload)
            self.acks.append(number)
            self.on_ack(number)
            self.acked = max(self.acked, number)
            if flags & wire.ACK_AGAIN:
                self.unsent = max(number, self.oldest)

    def send(self, kind, payload):
        frame = bytearray(wire.frame(kind, self.sequence, payload))
        self.sequence = (self.sequence + 1) & 0xFFFF
        if self.version != wire.VERSION:
            frame[2] = self.version
            frame[8:10] = (wire.binascii.crc32(frame[:8]) & 0xFFFF).to_bytes(2, "little")
            frame[-4:] = wire.binascii.crc32(frame[:-4]).to_bytes(4, "little")
        if self.random.random() < self.drop:
            return
        if self.random.random() < self.damage:
            frame[self.random.randrange(len(frame))] ^= 1 << self.random.randrange(8)
        self.outgoing += frame

    def _stream(self):
        """Two new blocks, and up to four on their way."""
        for _ in range(2):
            if self.head < self.limit and self.head - self.acked < self.window:
                self.head += 1
        self.oldest = max(self.oldest, self.head - self.window)
        if self.now_s >= self.status_s + 0.1:
            self.status_s = self.now_s
            self._send_status()
        for _ in range(4):
            if self.unsent < self.head:
                self._send_block(self.unsent)
                self.unsent += 1

    def _send_block(self, number):
        head = wire.struct.pack(
            wire.BLOCK_HEAD, number, self.oldest, number * 256, 0, 0, PER_BLOCK, 1, 16
        )
        self.send(wire.BLOCK, head + block_body(number))

    def _send_status(self):
        stamp_us = int(self.now_s * 1e6) % wire.TICKS_PERIOD_US
        body = wire.struct.pack(
            wire.STATUS_BODY,
            *(wire.ARMED, 0, 15, 0, self.head, self.oldest, self.acked, 0, 4480, 4490, stamp_us),
        )
        self.send(wire.STATUS, body)
