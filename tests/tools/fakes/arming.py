"""A board of frames that reads like a quiet rig, and answers `arm` as a test says."""

import json
import random

from fakes.link import PER_BLOCK, FrameLink
from tautlog.firmware import wire

LEVEL, NOISE = 4469, 5.5  # of a sample: 0.45 V, and the noise of a quiet chain


class ArmingLink(FrameLink):
    """Obeys ABORT; `arm_answer` is what it says to `arm`, None for silence.

    Attributes
    ----------
    state : int
        What it says of itself; it arms whatever becomes of the answer.
    heard : list of int
        Kinds of the frames that came.
    """

    def __init__(self, arm_answer, **options):
        super().__init__(short=0.0, window=1 << 20, **options)
        self.arm_answer = arm_answer
        self.state = wire.SAFE
        self.heard = []
        self.answers["stream"] = {"ok": True, "first": 0}
        self.answers["status"] = {"ok": True}

    def _obey(self, kind, payload):
        self.heard.append(kind)
        if kind == wire.ABORT:
            self.state = wire.SAFE
        command = json.loads(payload) if kind == wire.ASK else {}
        if command.get("do") == "stream":
            self.answers["stream"] = {"ok": True, "first": self.unsent}
        if command.get("do") == "arm":
            self.state = wire.ARMED
            self.answers.pop("arm", None)
            if self.arm_answer is not None:
                self.answers["arm"] = self.arm_answer
        self.answers["status"] = {"ok": True, "state": wire.STATES[self.state]}
        super()._obey(kind, payload)

    def _send_block(self, number):
        noise = random.Random(number)
        samples = [round(noise.gauss(LEVEL, NOISE)) for _ in range(PER_BLOCK)]
        stamp_us = round(number * PER_BLOCK * 16) % wire.TICKS_PERIOD_US
        head = wire.struct.pack(
            wire.BLOCK_HEAD, number, self.oldest, stamp_us, 0, 0, PER_BLOCK, 1, 16
        )
        self.send(wire.BLOCK, head + wire.struct.pack(f"<{PER_BLOCK}H", *samples))

    def _stream(self):
        for _ in range(40):
            super()._stream()

    def _send_status(self):
        stamp_us = int(self.now_s * 1e6) % wire.TICKS_PERIOD_US
        body = wire.struct.pack(
            wire.STATUS_BODY,
            *(self.state, 0, 15, 0, self.head, self.oldest, self.acked, 0, 4480, 4490, stamp_us),
        )
        self.send(wire.STATUS, body)
