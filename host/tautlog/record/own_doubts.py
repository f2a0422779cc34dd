"""Own doubts: contradictions that a record's entries and calibration tell, without its samples."""

from __future__ import annotations

from tautlog.model.calibration import Calibration
from tautlog.model.contradiction import Contradiction
from tautlog.model.stream import Instrument
from tautlog.record.entries import GivenUp


def given_up(entry: GivenUp) -> Contradiction:
    """Somebody did without the rest of the board's event."""
    return Contradiction("event-given-up", given_up_words(entry.by, entry.reason, entry.lacks))


def given_up_words(by: str, reason: str, lacks: str) -> str:
    """Who gave up the rest of an event, why, and what is lacking; the same wherever it is told."""
    return f"{by} gave up the rest of the board's event ({reason}): {lacks}"


def converter_differs(used: Calibration, instrument: Instrument) -> Contradiction:
    """The samples are not of a converter of the calibration's kind."""
    return Contradiction(
        "converter-differs",
        f"the samples are of a converter of {instrument.converter_bits} bits, the calibration in "
        f"use is of one of {used.converter_bits}: no force is right",
    )
