"""Session: one conversation with a board, from greeting to goodbye.

Everything that the board sends comes through `pump`, in order, so that no block or event is
lost while a caller waits for an answer.
"""

from __future__ import annotations

import json
import struct
import time
from collections import deque
from collections.abc import Callable

from tautlog.board import at_prompt
from tautlog.board.answers import granted, told
from tautlog.board.link import Link
from tautlog.board.messages import Answer, Message, instrument_from, parse
from tautlog.errors import (
    BusyError,
    FirmwareFailedError,
    LinkTimeoutError,
    RefusedError,
    WireVersionError,
    WrongDeviceError,
)
from tautlog.firmware import wire
from tautlog.model.stream import BoardEvent, Instrument

ANSWER_S = 2.0
CTRL_C = b"\x03"
GREETING_S = 3.0
PROMPT_S = 2.0
GREET_AGAIN_S = 0.4
BUSY = ("armed", "recording")
HEARD_BYTES = 512
DECODER_ROOM = 1 << 17  # more than one read brings, so that a read is decoded at once


class Session:
    """Speaks the wire format over a link.

    Parameters
    ----------
    link : Link
        An open connection.
    timeout_scale : float
        Multiplies every wait for the board; for slow or emulated boards.
    clock : callable
        A monotonic clock, in seconds.
    """

    def __init__(
        self,
        link: Link,
        *,
        timeout_scale: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._link = link
        self.scale = timeout_scale
        self.clock = clock
        self._decoder = wire.Decoder(wire.MAX_PAYLOAD, DECODER_ROOM)
        self._sequence = 0
        self._inbox: deque[Message] = deque()
        self._foreign_version: int | None = None
        self._heard = b""  # the last of what came before the greeting
        self.bytes_received = 0
        self.nonsense = 0
        self.instrument = Instrument("", "", "", 1.0, 1, ("force",), 1, 8)

    @property
    def damaged(self) -> int:
        """Frames that arrived damaged or made no sense."""
        damaged: int = self._decoder.damaged
        return damaged + self.nonsense

    # Sending

    def send(self, kind: int, payload: bytes = b"") -> int:
        """Send one frame; return its sequence number."""
        frame = wire.frame(kind, self._sequence, payload)
        while kind == wire.ASK and CTRL_C in frame:
            # Ctrl-C would interrupt a board that is still starting.
            self._sequence = (self._sequence + 1) & 0xFFFF
            frame = wire.frame(kind, self._sequence, payload)
        sequence = self._sequence
        self._sequence = (sequence + 1) & 0xFFFF
        self._link.write(frame)
        return sequence

    def acknowledge(self, next_block: int, *, again: bool = False) -> None:
        """Tell the board that every block before `next_block` is on disk; also the heartbeat."""
        flags = wire.ACK_AGAIN if again else 0
        self.send(wire.ACK, struct.pack(wire.ACK_BODY, next_block, flags))

    def ask(self, name: str, *, wait_s: float = ANSWER_S, **fields: object) -> dict[str, object]:
        """Send a command and wait for its answer.

        Raises
        ------
        LinkTimeoutError
            If no answer comes.
        RefusedError
            If the board refuses; with all its reasons.
        """
        sequence = self.send(wire.ASK, json.dumps({"do": name, **fields}).encode())
        deadline = self.clock() + wait_s * self.scale
        while self.clock() < deadline:
            answer = None
            for message in self._read():
                if not isinstance(message, Answer):
                    self._inbox.append(message)
                elif message.to == sequence:
                    answer = message
            if answer is not None:
                return granted(name, answer.fields)
        raise LinkTimeoutError(
            f"the board did not answer `{name}` within {wait_s * self.scale:g} s: check that it "
            "runs the tautlog firmware and that no other program holds the port"
        )

    # Receiving

    def pump(self) -> list[Message]:
        """All messages that arrived, oldest first; waits briefly if there are none."""
        messages: list[Message] = []
        if not self._inbox:
            messages = [message for message in self._read() if not isinstance(message, Answer)]
        while self._inbox:
            messages.append(self._inbox.popleft())
        return messages

    def _read(self) -> list[Message]:
        data = memoryview(self._link.read())
        self.bytes_received += len(data)
        if not self.instrument.serial:
            self._heard = (self._heard + bytes(data))[-HEARD_BYTES:]
        messages = []
        while data:
            room = self._decoder.room()
            self._decoder.feed(data[:room])
            data = data[room:]
            while self._decoder.next():
                message = self._understand()
                if message is not None:
                    messages.append(message)
        return messages

    def _understand(self) -> Message | None:
        decoder = self._decoder
        if decoder.version != wire.VERSION:
            self._foreign_version = decoder.version
            return None
        message = parse(decoder.kind, decoder.payload(), self.instrument.samples_per_block)
        if message is None:
            self.nonsense += 1
        return message

    # Greeting

    def greet(self) -> Instrument:
        """Find out which board answers, and whether it can be used.

        Raises
        ------
        WrongDeviceError
            If nothing answers, or the device is not a tautlog board.
        FirmwareFailedError
            If the board is at MicroPython's prompt, or says that its firmware did not start.
        BoardConfigError
            If its config.py is wrong.
        BusyError
            If it is armed or recording.
        WireVersionError
            If the firmware speaks another wire format.
        BoardError
            See `instrument_from`.
        """
        hello = self._await_hello()
        version = hello.get("wire")
        if type(version) is not int or version != wire.VERSION:
            raise _version_error(hello.get("firmware", "unknown"), version)
        try:
            self.instrument = instrument_from(hello)
        except (KeyError, TypeError, ValueError) as problem:
            raise WrongDeviceError(
                f"the board's greeting is incomplete or garbled ({told(problem)}): install the "
                "firmware again"
            ) from problem
        # A program before this one may have left questions, whose answers come late: they bear
        # other numbers, for nobody sends a thousand frames a second. A late greeting does no harm.
        self._sequence = int(1000.0 * self.clock()) & 0xFFFF
        # Earlier events were placed without knowing the length of a block. A board that holds an
        # event sends it at once, and again on request.
        self._inbox = deque(
            message for message in self._inbox if not isinstance(message, BoardEvent)
        )
        return self.instrument

    def _refuse_prompt(self) -> None:
        words = at_prompt.last_words(self._link, self.clock, PROMPT_S * self.scale)
        self._heard = b""
        if words is not None:
            raise _prompt_error(words)

    def _await_hello(self) -> dict[str, object]:
        deadline = self.clock() + GREETING_S * self.scale
        while self.clock() < deadline:
            try:
                return self.ask("hello", wait_s=GREET_AGAIN_S, wire=wire.VERSION)
            except LinkTimeoutError:
                if self._foreign_version is not None:
                    raise _version_error("unknown", self._foreign_version) from None
                if at_prompt.PROMPT in self._heard:
                    self._refuse_prompt()
            except RefusedError as problem:
                if problem.state in BUSY:
                    raise _busy_error(problem) from problem
                raise
        seen = (
            f"{self.bytes_received} foreign bytes came"
            if self.bytes_received
            else "nothing came back"
        )
        raise WrongDeviceError(
            f"no tautlog board answers here within {GREETING_S * self.scale:g} s ({seen}): "
            "is this the right port, and is the firmware installed?"
        )


def _prompt_error(words: str) -> FirmwareFailedError:
    words = told(words)
    said = f"its firmware does not start: {words}" if words else "its firmware did not fall over"
    missing = words.startswith("ImportError") and "'main'" in words
    why = "no firmware is on it" if missing else said
    return FirmwareFailedError(
        f"the board is at MicroPython's prompt, and {why}: see that the strap is open, then run "
        "`tautlog install`",
        traceback=(words,) if words else (),
    )


def _busy_error(problem: RefusedError) -> BusyError:
    return BusyError(
        f"the board is {problem.state}: another program drives it, or one has left it alone. "
        "Stay out. Left in silence it ends by itself, and `tautlog recover` fetches what it keeps",
        reasons=problem.reasons,
        state=problem.state,
    )


def _version_error(firmware: object, version: object) -> WireVersionError:
    number = version if type(version) is int else -1
    return WireVersionError(
        f"the board's firmware ({told(firmware)}) speaks wire format {told(version)}, this tautlog "
        f"speaks {wire.VERSION}: install the matching firmware on the board, or the matching "
        "tautlog here",
        expected=wire.VERSION,
        received=number,
    )
