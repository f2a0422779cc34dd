"""Messages: frames of the board, turned into objects.

The layout of every payload stands in `tautlog.firmware.wire`, which both sides
import; here is only what becomes of it on the laptop.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tautlog.board.answers import told
from tautlog.errors import (
    BoardConfigError,
    BoardError,
    FirmwareFailedError,
    WrongDeviceError,
)
from tautlog.files.strict_json import read_json
from tautlog.firmware import wire
from tautlog.model.names import short
from tautlog.model.readbacks import readbacks_from
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.wiring import wiring_of

# What a greeting may state. Samples of a block are counted in 16 bits on the wire; the others are
# far beyond what any board has memory for.
_MOST = {"reduction": 65_535, "per_block": 65_535, "history": 1_000_000, "bits": 64}
LEAST_RATE_HZ, MOST_RATE_HZ, MOST_CHANNELS, MOST_NAME = 1.0, 10e6, 16, 64
MOST_WINDOW_S = 3600.0  # of a memory, far beyond any
MOST_SAID = 200  # signs of a firmware's, board's or serial's text
MOST_FAULTS = 8  # that are told; of a config.py, or lines of a traceback


@dataclass(frozen=True)
class Answer:
    """Answer to the command whose frame had sequence number `to`."""

    to: int
    fields: dict[str, object]


@dataclass(frozen=True)
class HeldBlock:
    """A block as it arrived, with the oldest one that the board still holds."""

    block: Block
    oldest: int


@dataclass(frozen=True)
class Status:
    """The state of the board, reported ten times a second.

    Attributes
    ----------
    state : str
        One of `wire.STATES`.
    reason : int
        Reason for the state, see `wire.REASONS`; 0 for none.
    inputs, outputs : int
        Bits, see `wire.INPUT_*` and `wire.OUTPUT_*`.
    head, oldest, acked : int
        Block numbers: next to be completed, oldest held, first not yet on disk.
    lost : int
        Conversions lost since power-up.
    low, high : int
        Smallest and largest count of the last block.
    stamp_us : int
        Board clock, microseconds modulo 2**30.
    """

    state: str
    reason: int
    inputs: int
    outputs: int
    head: int
    oldest: int
    acked: int
    lost: int
    low: int
    high: int
    stamp_us: int


Message = Answer | HeldBlock | BoardEvent | Status


def parse(kind: int, payload: memoryview, samples_per_block: int) -> Message | None:
    """Turn one good frame into a message, or None if it makes no sense.

    Parameters
    ----------
    kind : int
        Frame kind, see `wire`.
    payload : memoryview
        Its payload; copied if it is kept.
    samples_per_block : int
        Needed for the sample index of an event.
    """
    try:
        if kind == wire.BLOCK:
            return _block(payload)
        if kind == wire.EVENT:
            return _event(payload, samples_per_block)
        if kind == wire.STATUS:
            return _status(payload)
        if kind == wire.ANSWER:
            return _answer(payload)
    except (struct.error, ValueError, KeyError, IndexError):
        return None
    return None


def _block(payload: memoryview) -> HeldBlock | None:
    number, oldest, stamp_us, flags, lost, count, channels, bits = struct.unpack_from(
        wire.BLOCK_HEAD, payload
    )
    values = _values(payload[wire.BLOCK_HEAD_BYTES :], count * channels, bits)
    counts = values.reshape(count, channels)
    return HeldBlock(Block(number, stamp_us, flags, lost, counts), oldest)


def _values(body: memoryview, count: int, bits: int) -> npt.NDArray[np.uint16]:
    """The values of a block, from just as many bytes as they need; see `wire`.

    Raises
    ------
    ValueError
        If there are none, more or fewer bytes, or `bits` has no meaning.
    """
    if (
        bits not in (wire.PLAIN_BITS, wire.PACKED_BITS)
        or not count
        or 8 * len(body) != bits * count
    ):
        raise ValueError(f"{len(body)} bytes for {count} values of {bits} bits")
    # Copied: the decoder reuses its buffer.
    if bits == wire.PLAIN_BITS:
        return np.frombuffer(bytes(body), dtype="<u2")
    if count % 2:
        raise ValueError(f"{count} packed values: an even number is needed")
    triples = np.frombuffer(body, dtype=np.uint8).reshape(-1, 3).astype(np.uint16)
    values = np.empty(count, dtype=np.uint16)
    values[0::2] = triples[:, 0] | (triples[:, 1] & 15) << 8
    values[1::2] = triples[:, 1] >> 4 | triples[:, 2] << 4
    return values


def _event(payload: memoryview, samples_per_block: int) -> BoardEvent:
    number, code, _, block, offset, _, value, stamp_us = struct.unpack(wire.EVENT_BODY, payload)
    return BoardEvent(
        number=number,
        name=wire.EVENT_NAMES[code],
        sample_index=block * samples_per_block + offset,
        stamp_us=stamp_us,
        value=value,
    )


def _status(payload: memoryview) -> Status:
    state, *others = struct.unpack(wire.STATUS_BODY, payload)
    return Status(wire.STATES[state], *others)


def _answer(payload: memoryview) -> Answer | None:
    fields = read_json(payload)
    if not isinstance(fields, dict) or type(fields.get("to")) is not int:
        return None
    return Answer(fields["to"], fields)


def instrument_from(hello: dict[str, Any]) -> Instrument:
    """Read a board's greeting.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a field is missing or wrong.
    BoardConfigError, WrongDeviceError, FirmwareFailedError
        If the board says that its firmware does not run: config.py is wrong, the firmware is not
        made for it, or it did not start.
    BoardError
        If the width of its converter is unknown.
    """
    _refuse_halted(hello)
    for name, most in _MOST.items():
        _require_whole(name, hello[name], most)
    rate_hz = hello["rate_hz"]
    if isinstance(rate_hz, bool) or not LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ:
        raise ValueError(f"rate_hz = {short(rate_hz)}")
    if hello["bits"] not in wire.CONVERTER_BITS:
        raise BoardError(
            f"the board's converter has {hello['bits']} bits, expected 12 or 16: samples have 16, "
            "so a wider one does not fit; set CONVERTER_BITS in its config.py, and install the "
            "firmware that comes with this program"
        )
    if hello["state"] not in wire.STATES or not _are_names(hello["channels"]):
        raise ValueError(f"state = {short(hello['state'])}, channels = {short(hello['channels'])}")
    return Instrument(
        firmware=_named(hello, "firmware"),
        board=_named(hello, "board"),
        serial=_named(hello, "serial"),
        sample_rate_hz=float(rate_hz),
        reduction=int(hello["reduction"]),
        channels=tuple(str(name) for name in hello["channels"]),
        samples_per_block=int(hello["per_block"]),
        history_blocks=int(hello["history"]),
        converter_bits=int(hello["bits"]),
        state=str(hello["state"]),
        guard_before_s=_seconds(hello.get("before_s")),
        guard_after_s=_seconds(hello.get("after_s")),
        guard_least_s=_seconds(hello.get("least_s", hello.get("after_s"))),
        regulator=_named(hello, "regulator") if hello.get("regulator") else "",
        wiring=wiring_of(hello),
        readbacks=readbacks_from(hello.get("readbacks")),
    )


def _require_whole(name: str, value: object, most: int) -> None:
    """Refuse what is no whole number from 1 up; JSON's true and 1.5 are none."""
    if type(value) is not int or not 1 <= value <= most:
        raise ValueError(f"{name} = {short(value)}")


def _named(hello: dict[str, Any], name: str) -> str:
    """A text by which a board is known: short, seen, and no name of a file elsewhere."""
    value = hello[name]
    if not isinstance(value, str) or not 0 < len(value) <= MOST_SAID or not value.isprintable():
        raise ValueError(
            f"{name} = {short(value)}, expected a text of 1 to {MOST_SAID} signs that are seen"
        )
    return value


def _are_names(channels: object) -> bool:
    return (
        isinstance(channels, list)
        and 1 <= len(channels) <= MOST_CHANNELS
        and all(
            isinstance(name, str) and 0 < len(name) <= MOST_NAME and name.isprintable()
            for name in channels
        )
        and len(set(channels)) == len(channels)
    )


def _refuse_halted(hello: dict[str, Any]) -> None:
    reason, faults = hello.get("refused"), hello.get("faults")
    if reason is None:
        return
    texts = tuple(map(told, faults[:MOST_FAULTS])) if isinstance(faults, list) else ()
    said = "; ".join(texts) or "it does not say why"
    if reason == wire.WRONG_CONFIG:
        raise BoardConfigError(
            f"the board's config.py is wrong, so it keeps all pins as inputs and will not arm: "
            f"{said}. Mend the line, or restore the delivered file with "
            "`tautlog install --fresh-config`",
            faults=texts,
        )
    if reason == wire.UNFIT:
        raise WrongDeviceError(f"the firmware does not run on this board: {said}")
    raise FirmwareFailedError(
        f"the board's firmware did not start: {said}. No pin is an output; install it again, or "
        "undo the last change of the board's config.py",
        traceback=texts,
    )


def _seconds(value: object) -> float:
    """A length of time that a board tells; 0 if it tells none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return 0.0
    return float(value) if 0 < value <= MOST_WINDOW_S else 0.0
