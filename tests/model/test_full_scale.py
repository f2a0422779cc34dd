"""Counts, bits and volts: 12 bits that are summed, 16 that are averaged."""

import numpy as np
import pytest

from tautlog.board.messages import instrument_from
from tautlog.errors import BoardError
from tautlog.model.calibration import Calibration

HELLO = {
    "firmware": "0.1.0",
    "board": "a board",
    "serial": "1",
    "rate_hz": 31250.0,
    "reduction": 8,
    "channels": ["force"],
    "per_block": 1024,
    "history": 68,
    "bits": 16,
    "state": "safe",
}


@pytest.mark.parametrize(
    ("bits", "reduction", "count", "volts"),
    [
        (12, 1, 1024, 0.75),
        (12, 8, 8192, 0.75),
        (12, 16, 65535, 3.0 * 65535 / 65536),
        (16, 1, 16384, 0.75),
        (16, 8, 16384, 0.75),
    ],
)
def test_a_count_in_volts(bits, reduction, count, volts):
    """By hand, with a reference of 3 V and 1000 N/V."""
    calibration = Calibration(reference_v=3.0, converter_bits=bits)
    assert count * calibration.volt_per_count(reduction) == pytest.approx(volts, rel=1e-12)
    force_n = calibration.force_n(np.array([count], dtype=np.uint16), reduction)
    assert force_n[0] == pytest.approx(1000 * volts, rel=1e-12)


def test_the_quantum_of_16_bits_is_a_step_whatever_is_averaged():
    """3.3 V / 65536 x 1000 N/V = 0.050 N; 12 bits summed by 8 have twice that."""
    calibration = Calibration(converter_bits=16)
    assert calibration.quantum_n(1) == calibration.quantum_n(8) == pytest.approx(0.050354, rel=1e-5)
    assert Calibration().quantum_n(8) == 2 * calibration.quantum_n(8)


def test_the_limits_of_the_converter_are_clipped():
    calibration = Calibration(converter_bits=16, rail_low_v=0.0, rail_high_v=3.3)
    counts = np.array([0, 2, 3, 65532, 65533, 65535], dtype=np.uint16)
    assert calibration.clipped(counts, 8).tolist() == [True, True, False, False, True, True]
    assert calibration.clipped(counts, 1).tolist() == [True, False, False, False, False, True]


def test_a_board_of_16_bits_is_understood():
    assert instrument_from(HELLO).converter_bits == 16


@pytest.mark.parametrize("bits", [8, 14, 18, 24])
def test_other_widths_are_refused_with_a_word(bits):
    with pytest.raises(BoardError, match=f"converter has {bits} bits, expected 12 or 16"):
        instrument_from({**HELLO, "bits": bits})
