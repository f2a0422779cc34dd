"""Density: the code-density test on a board, at MicroPython's prompt.

The board's side is `firmware/hardware/density.py`, installed with the firmware. It refuses
pins that the board's own config.py uses, keeps all outputs low, and restarts into the firmware
if the laptop falls silent.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tautlog.board.answers import told, whole
from tautlog.board.compiled import firmware_files
from tautlog.board.prompt import Prompt, at_prompt, greeted
from tautlog.errors import BoardError, JsonError, RefusedError, TautlogError
from tautlog.files.strict_json import read_object
from tautlog.model.code_counts import CodeCounts, CountArray, HeldLevel, Wiring
from tautlog.model.names import short

CODES = 4096
NEEDED = ("hardware/density.mpy", "hardware/chips.mpy", "spare_pins.mpy", "config_check.mpy")
DUTIES = 65536
# Constant levels, in codes: far from the wide ones of RP2040-E11, and between its middle and
# three quarters, where amplifiers rest and peak.
HELD_CODES = (256, 1024, 2048, 3072, 3840)
OPEN_SPAN = 1024  # codes: held levels that lie closer together do not follow the pin
SENDING_S = 5.0  # for 22 kB of text
# Of the converter: 500 kS/s at 48 MHz, 96 cycles a conversion, or more slowly by its divider, an
# integer of 16 bits (data sheets of RP2040 and RP2350, from memory); overclocked, it is faster.
LEAST_RATE_HZ, MOST_RATE_HZ = 100.0, 2e6
MOST_SLOWER = 1000


@dataclass(frozen=True)
class DensityPlan:
    """What to do on the board.

    Attributes
    ----------
    wiring : Wiring
        Pins and resistor.
    ramps : int
        Number of ramps, rising and falling in turn.
    ramp_s : float
        Length of one, in seconds.
    settle_s : float
        Time at a level before counting: 12 times R x C and more.
    held_conversions : int
        Conversions at each constant level.
    """

    wiring: Wiring = field(default_factory=Wiring)
    ramps: int = 8
    ramp_s: float = 8.0
    settle_s: float = 0.3
    held_conversions: int = 20_000


def count_codes(
    port: str,
    plan: DensityPlan,
    *,
    timeout_scale: float = 1.0,
    say: Callable[[str], None] = lambda text: None,
) -> CodeCounts:
    """Leave the firmware, count codes, and restart the board into it.

    Parameters
    ----------
    port : str
        Device name of the serial port.
    plan : DensityPlan
        What to do.
    timeout_scale : float
        Multiplies every wait.
    say : callable
        Told what happens, a line each.

    Raises
    ------
    LinkError
        If the port does not open or breaks.
    WrongDeviceError
        If no MicroPython that will do answers.
    RefusedError
        If the board is armed, records or holds an event; if its config.py uses a pin.
    BoardError
        If the board has another firmware, or its answer arrives damaged; if nothing follows
        the pin.
    """
    with at_prompt(port, timeout_scale, say, "test") as board:
        try:
            _, _, march = board.identify()
            _require_ours(board, march)
            counts = _count(board, plan, say)
        finally:
            board.restart()
    say("restarting the board into its firmware")
    try:
        greeted(port, timeout_scale)
    except TautlogError as problem:
        say(f"LOOK: after its restart the firmware does not answer: {problem}")
    return counts


def _require_ours(board: Prompt, march: str) -> None:
    files = firmware_files(march)
    there = board.hashes(list(NEEDED))
    for name in NEEDED:
        if there[name] != hashlib.sha256(files[name]).hexdigest():
            seen = "another firmware" if there[name] else "a firmware without this test, or none"
            raise BoardError(
                f"the board has {seen} ({name}): put this one on it with `tautlog install`, then "
                "test again"
            )


def _count(board: Prompt, plan: DensityPlan, say: Callable[[str], None]) -> CodeCounts:
    wiring = plan.wiring
    said = board.run(
        "from hardware import density\n"
        f"test = density.begin({wiring.ramp_pin}, {wiring.channel_pin})"
    )
    facts = _object(said)
    if "refused" in facts:
        raise RefusedError(f"the board gives no ramp: {told(facts['refused'])}")
    rate_hz = _require_known(facts, said)
    held, errors = _held(board, plan, facts)
    require_following(held)
    ramps, rising = [], []
    for number in range(plan.ramps):
        rises = number % 2 == 0
        say(f"  ramp {number + 1} of {plan.ramps}, {'rising' if rises else 'falling'}")
        code = f"test.ramp({rises}, {round(1e3 * plan.ramp_s)}, {round(1e3 * plan.settle_s)})"
        counts, wrong = codes_in(board.run(code, plan.ramp_s + 2 * plan.settle_s + SENDING_S))
        ramps.append(counts)
        rising.append(rises)
        errors += wrong
    board.run("test.end()")
    return CodeCounts(
        chip=facts["chip"],
        machine=facts["machine"],
        serial=facts["serial"],
        conversion_rate_hz=rate_hz,
        ramp_s=plan.ramp_s,
        wiring=wiring,
        ramps=np.array(ramps),
        rising=tuple(rising),
        held=tuple(held),
        errors=errors,
    )


def _require_known(facts: dict[str, Any], said: str) -> float:
    """The conversions a second of a board that says plainly what it is; before anything is counted.

    Raises
    ------
    BoardError
        If a name is none, or the rate is not that of any converter of such a chip.
    """
    for name in ("chip", "machine", "serial"):
        text = facts.get(name)
        if not isinstance(text, str) or not text.strip() or told(text) != text:
            raise _garbled(said)
    rate_hz = facts.get("rate_hz")
    if isinstance(rate_hz, bool) or not isinstance(rate_hz, (int, float)):
        raise _garbled(said)
    if not LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ:
        raise _garbled(said)
    return float(rate_hz)


def _held(board: Prompt, plan: DensityPlan, facts: dict[str, Any]) -> tuple[list[HeldLevel], int]:
    """Codes at constant levels: in both modes of a regulator that has them, and slowly."""
    slower = facts.get("slower")
    slower = slower if type(slower) is int and 1 < slower <= MOST_SLOWER else 1
    saving = False if facts.get("regulator") is True else None
    ways = [(saving, 1)] + [(saving, slower)] * (slower > 1) + [(True, 1)] * (saving is False)
    held, errors = [], 0
    for forced, times in ways:
        for level in HELD_CODES:
            conversions = plan.held_conversions // times
            code = (
                f"test.held({level * DUTIES // CODES}, {conversions}, "
                f"{round(1e3 * plan.settle_s)}, {forced}, {times})"
            )
            counts, wrong = codes_in(board.run(code, plan.settle_s + SENDING_S))
            held.append(HeldLevel(float(level), counts, forced, times > 1))
            errors += wrong
    return held, errors


def require_following(held: list[HeldLevel]) -> None:
    """Refuse a channel whose level does not follow the pin.

    Raises
    ------
    BoardError
        If all constant levels read about the same.
    """
    codes = np.arange(CODES)
    means = [float(codes @ one.counts) / max(float(one.counts.sum()), 1.0) for one in held]
    if max(means) - min(means) < OPEN_SPAN:
        raise BoardError(
            f"the converter's channel does not follow the ramp's pin (it reads {min(means):.0f} to "
            f"{max(means):.0f} for levels of {min(HELD_CODES)} to {max(HELD_CODES)}): check R, C "
            "and both pins"
        )


def codes_in(said: str) -> tuple[CountArray, int]:
    """The histogram in what the board tells, and how many conversions did not settle.

    Raises
    ------
    BoardError
        If it did not arrive as it was sent.
    """
    head, _, rest = said.partition("\n")
    facts = _object(head)
    try:
        first, length, errors = (whole("ramp", facts, one) for one in ("first", "bytes", "errors"))
        check = int(facts["crc"], 16)
        data = base64.b64decode("".join(rest.split()), validate=True)
    except (BoardError, KeyError, TypeError, ValueError, binascii.Error) as problem:
        raise _garbled(said) from problem
    if len(data) != length or zlib.crc32(data) != check or length % 4:
        raise BoardError(
            f"a histogram arrived damaged ({len(data)} of {length} bytes, CRC-32 "
            f"{zlib.crc32(data):08x} for {check:08x}): check the cable, test again"
        )
    if not 0 <= first <= CODES - length // 4:
        raise _garbled(said)
    counts = np.zeros(CODES, np.int64)
    counts[first : first + length // 4] = np.frombuffer(data, "<u4")
    return counts, errors


def _object(text: str) -> dict[str, Any]:
    try:
        return read_object(text)
    except JsonError as problem:
        raise _garbled(text) from problem


def _garbled(text: str) -> BoardError:
    return BoardError(
        f"the board's test answers {short(text)}, which makes no sense: test again; install the "
        "firmware again if that does not help"
    )
