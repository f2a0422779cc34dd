"""What a board does whose firmware must not run, or cannot: it answers, and it refuses.

That is a board with a wrong config.py, one that the firmware was not made for, and one on
which it did not start. No pin is touched and nothing is sampled. An event that an earlier
life has left in a file stays there.
"""

import json

import commands
import describe
import wire

MOST_FAULTS = 8  # that are told at once
BYTES_A_STEP = 64
HEADS = {
    wire.WRONG_CONFIG: "config.py of the board is wrong: ",
    wire.UNFIT: "not on this board: ",
    wire.NOT_STARTED: "the firmware did not start: ",
}


class _Nothing:
    """Stands for a config in the greeting: figures that nobody can take for a board's."""

    CONVERSION_RATE_HZ = 1
    CONVERTER_BITS = 12
    REDUCTION = 1
    CHANNELS = ("none",)
    READBACKS = ()
    PIN_SWITCH = PIN_KEY = PIN_DRIVE = PIN_SHUNT = PIN_LAMP = PIN_ARTICLE_WIRE = -1
    PIN_MOUNT_WIRE = PIN_FLASH = PIN_BEAT = -1
    PIN_CONVERTER = (-1,)
    FLASH_MS = 0
    SAMPLES_PER_BLOCK = 1
    HISTORY_BLOCKS = 1
    LAPTOP_SILENCE_MS = 1000
    GUARD_BEFORE_S = GUARD_AFTER_S = 0
    QUIET_BLOCKS = 1


class Refusal:
    """The main loop of such a board.

    Parameters
    ----------
    board : object
        A link and a name, and no pins; see bare.py.
    reason : int
        wire.WRONG_CONFIG, UNFIT or NOT_STARTED.
    faults : list of str
        What is wrong, a text each.
    """

    def __init__(self, board, reason, faults):
        self._board = board
        self.reason = reason
        self.faults = faults[:MOST_FAULTS]
        if len(faults) > MOST_FAULTS:
            self.faults.append("and %d more" % (len(faults) - MOST_FAULTS))
        self.text = HEADS[reason] + "; ".join(self.faults)
        self._decoder = wire.Decoder(wire.MAX_COMMAND)
        self._sequence = 0
        self._rest = b""
        self._leaving = False

    def step(self):
        """Take what came, and send what the link takes."""
        board = self._board
        board.poll(not self._rest)
        for _ in range(BYTES_A_STEP):
            byte = board.read_byte()
            if byte < 0:
                break
            self._decoder.feed_byte(byte)
        while self._decoder.next():
            if self._decoder.kind == wire.ASK:
                self._say(self.answer(self._decoder.payload()), self._decoder.sequence)
        if self._rest:
            taken = board.write(memoryview(self._rest), 0, len(self._rest))
            self._rest = self._rest[taken:]
        elif self._leaving:
            board.reset_to_prompt()

    def _say(self, answer, to):
        answer["to"] = to
        answer["state"] = wire.STATES[wire.SAFE]
        self._rest += wire.frame(wire.ANSWER, self._sequence, json.dumps(answer).encode())
        self._sequence = (self._sequence + 1) & 0xFFFF

    def answer(self, payload):
        """The answer to a command."""
        try:
            name = commands.parse(payload)["do"]
        except commands.Malformed as problem:
            return {"ok": False, "error": problem.error, "text": problem.text, "reasons": []}
        if name == "hello":
            answer = describe.hello(self._board, _Nothing)
            answer["refused"] = self.reason
            answer["faults"] = self.faults
            return answer
        if name == "status":
            return {"ok": True, "reason": self.reason, "inputs": 0, "faults": self.faults}
        if name == "prompt":
            self._leaving = True
            return {"ok": True}
        return describe.refusal([self.reason], wire.SAFE, self.text)
