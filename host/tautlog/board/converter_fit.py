"""Converter fit: whether a calibration was made for the converter of this board."""

from __future__ import annotations

from dataclasses import replace

from tautlog.board.finding import ReadinessFinding
from tautlog.board.health import Health
from tautlog.model.calibration import Calibration
from tautlog.model.linearity import Linearity
from tautlog.model.steps import chip_in
from tautlog.model.stream import Instrument

# Highest supply of the converter of an RP2040 or RP2350 (ADC_AVDD, data sheets; from memory).
MOST_REFERENCE_V = 3.63
MEANS_BITS = 16  # a converter of so many gives means: wire.full_scale


def converter_findings(
    calibration: Calibration, board: Instrument, health: Health
) -> list[ReadinessFinding]:
    """Check how counts become volts: the cell's data sheet cannot show an error there.

    Parameters
    ----------
    calibration : Calibration
        The calibration of the chain.
    board : Instrument
        The board, from its greeting.
    health : Health
        The present readings.
    """
    found = []
    if calibration.converter_bits != board.converter_bits:
        found.append(
            ReadinessFinding(
                "converter-bits",
                True,
                f"the calibration assumes {calibration.converter_bits} bits",
                f"the board's converter has {board.converter_bits}",
                "correct converter_bits and calibrate again",
            )
        )
    else:
        found += _steps(calibration, board, health.level_v)
    if board.converter_bits == MEANS_BITS and (word := _stuck_at(calibration, board, health)):
        found.append(
            ReadinessFinding(
                "data-stuck",
                True,
                f"every conversion reads {word}",
                "no two of a converter that works are all alike",
                "look at its data, clock and start wires, its supply and its reference",
            )
        )
    own = board.converter_bits != MEANS_BITS and "RP2" in board.board
    if own and calibration.reference_v > MOST_REFERENCE_V:
        found.append(
            ReadinessFinding(
                "reference-impossible",
                True,
                f"the calibration assumes a reference of {calibration.reference_v:g} V",
                f"this board's converter takes at most {MOST_REFERENCE_V} V",
                "measure the reference, correct reference_v and calibrate again",
            )
        )
    return found


def _stuck_at(calibration: Calibration, board: Instrument, health: Health) -> str:
    """What a data wire reads that stays low or high; "" if it does not."""
    if health.noise_v:
        return ""
    highest = (1 << board.converter_bits) - 1
    read_by = replace(calibration, converter_bits=board.converter_bits, converter="")
    code = round(health.level_v / read_by.volt_per_count(1))
    return f"0x{code:04x}" if code in (0, highest) else ""


def _steps(calibration: Calibration, board: Instrument, level_v: float) -> list[ReadinessFinding]:
    """Refuse a correction of another converter's steps; doubt where none is made."""
    linearity, chip = calibration.steps.linearity, chip_in(board.board)
    if linearity is None:
        if calibration.converter or board.converter_bits > 12:
            return []
        return [
            ReadinessFinding(
                "steps-unknown",
                False,
                "the calibration was made without knowing the converter's steps",
                f"a calibration that is corrected for those of the {chip or 'board'}",
                "calibrate again with this board",
            )
        ]
    if linearity.chip and chip not in ("", linearity.chip):
        whose = f"an {linearity.chip}"
    elif linearity.serial.casefold() not in ("", board.serial.casefold()):
        whose = f"board {linearity.serial}"
    else:
        return _wide_code(linearity, level_v / calibration.volt_per_count(1))
    return [
        ReadinessFinding(
            "other-converter",
            True,
            f"this is board {board.serial}" + (f" with an {chip}" if chip else ""),
            f"the calibration is corrected for the converter of {whose}",
            "calibrate again with this board",
        )
    ]


def _wide_code(linearity: Linearity, level: float) -> list[ReadinessFinding]:
    """Doubt a zero that rests in a wide code: there it neither moves nor makes noise."""
    near = [wide for wide in linearity.wide_codes if abs(level - wide) < 1.0]
    if not near:
        return []
    return [
        ReadinessFinding(
            "zero-in-wide-code",
            False,
            f"the zero rests in code {near[0]} of the converter",
            "a zero away from its wide codes, where it moves and shows its noise",
            "shift the zero of the amplifier by some 20 mV",
        )
    ]
