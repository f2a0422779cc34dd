"""The table of the two chips, held against the makers' published register headers.

The numbers here were copied from pico-sdk 2.2.0 (BSD-3-Clause, Raspberry Pi Ltd),
src/rp2040/hardware_regs and src/rp2350/hardware_regs, one by one and not from
firmware/hardware/chips.py: addressmap.h (ADC_BASE, DMA_BASE, TIMER_BASE or
TIMER0_BASE, WATCHDOG_BASE), dreq.h (DREQ_ADC), adc.h (bits of CS and
FCS), dma.h (CHAN_ABORT), timer.h (TIMERAWL), watchdog.h (SCRATCH0).
"""

import ast

import pytest
from places import FIRMWARE

from tautlog.firmware.hardware import chips

HEADERS = {
    "RP2040": {
        "ADC_BASE": 0x4004C000,
        "DREQ_ADC": 36,
        "DMA_BASE": 0x50000000,
        "CHAN_ABORT": 0x444,
        "TIMER_BASE": 0x40054000,
        "WATCHDOG_BASE": 0x40058000,
        "FIFO": 4,
        "AINSEL": (14, 12),
    },
    "RP2350": {
        "ADC_BASE": 0x400A0000,
        "DREQ_ADC": 48,
        "DMA_BASE": 0x50000000,
        "CHAN_ABORT": 0x464,
        "TIMER_BASE": 0x400B0000,
        "WATCHDOG_BASE": 0x400D8000,
        "FIFO": 8,
        "AINSEL": (15, 12),
    },
}
TIMERAWL = 0x28
CHANNELS = {"RP2040": 5, "RP2350": 9}  # converter channels, temperature included


@pytest.mark.parametrize("name", HEADERS)
def test_addresses(name):
    chip, header = chips.CHIPS[name], HEADERS[name]
    assert chip.adc == header["ADC_BASE"]
    assert chip.adc_dreq == header["DREQ_ADC"]
    assert chip.dma_abort == header["DMA_BASE"] + header["CHAN_ABORT"]
    assert chip.timer_low == header["TIMER_BASE"] + TIMERAWL
    assert chip.watchdog == header["WATCHDOG_BASE"]
    assert chip.adc_fifo == header["FIFO"]
    high, low = header["AINSEL"]
    assert chip.adc_select_bits == high - low + 1
    assert low == chips.CS_SELECT_SHIFT
    assert 1 << chip.adc_select_bits > CHANNELS[name] - 1


def test_bits_that_are_the_same_on_both():
    assert (chips.ADC_CS, chips.ADC_FCS, chips.ADC_FIFO, chips.ADC_DIV) == (0, 8, 0xC, 0x10)
    assert (chips.CS_ENABLE, chips.CS_START_MANY, chips.CS_ERROR_STICKY) == (1, 1 << 3, 1 << 10)
    assert chips.CS_ROUND_ROBIN_SHIFT == 16
    assert (chips.FCS_ENABLE, chips.FCS_DREQ) == (1, 1 << 3)
    assert (chips.FCS_UNDER, chips.FCS_OVER) == (1 << 10, 1 << 11)
    assert (chips.FCS_LEVEL_SHIFT, chips.FCS_THRESHOLD_SHIFT) == (16, 24)
    assert chips.WATCHDOG_SCRATCH == 0x0C
    assert chips.DMA_WRITE_TRIGGER_WORD * 4 == 0x2C  # CH0_AL2_WRITE_ADDR_TRIG
    # 96 clocks of 48 MHz: 500 000 conversions a second (datasheets, "ADC").
    assert chips.ADC_CLOCK_HZ / chips.ADC_CYCLES == 500_000


def test_no_other_file_has_an_address_of_the_table():
    """Hardware numbers live in one place; 0xD0000004 is checked where viper needs a constant."""
    table = {value for chip in chips.CHIPS.values() for value in vars(chip).values()}
    addresses = {one for one in table if isinstance(one, int) and one > 0x20000000}
    for path in FIRMWARE.rglob("*.py"):
        if path.name == "chips.py":
            continue
        numbers = {
            node.value
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Constant) and isinstance(node.value, int)
        }
        shared = {one for one in numbers & addresses if one != 0x20000000}
        assert not shared, f"{path.name}: {[hex(one) for one in shared]}"
        assert (0xD0000004 in numbers) <= (path.name == "board.py")
    assert chips.SIO_INPUTS == 0xD0000004
