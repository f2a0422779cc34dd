"""What differs between the two chips, as one table.

Addresses and bit positions are those of the register headers of pico-sdk 2.2.0
(BSD-3-Clause): src/rp2040/hardware_regs and src/rp2350/hardware_regs, files
addressmap.h, adc.h, dma.h, dreq.h, timer.h, watchdog.h, sio.h, m0plus.h. The
RP2350 column has been checked against those headers and has not run on silicon.
"""


class Chip:
    """One chip's numbers.

    Attributes
    ----------
    adc : int
        ADC_BASE.
    adc_fifo : int
        Conversions that the converter's FIFO holds.
    adc_dreq : int
        DREQ_ADC, for the DMA.
    adc_select_bits : int
        Width of CS.AINSEL, from bit 12.
    dma_abort : int
        Address of CHAN_ABORT.
    timer_low : int
        Address of TIMERAWL, microseconds since power-up.
    watchdog : int
        WATCHDOG_BASE; the scratch registers begin 0x0c behind it.
    """

    def __init__(self, name, **numbers):
        self.name = name
        self.adc = numbers["adc"]
        self.adc_fifo = numbers["adc_fifo"]
        self.adc_dreq = numbers["adc_dreq"]
        self.adc_select_bits = numbers["adc_select_bits"]
        self.dma_abort = numbers["dma_abort"]
        self.timer_low = numbers["timer_low"]
        self.watchdog = numbers["watchdog"]


CHIPS = {
    "RP2040": Chip(
        "RP2040",
        adc=0x4004C000,
        adc_fifo=4,
        adc_dreq=36,
        adc_select_bits=3,
        dma_abort=0x50000444,
        timer_low=0x40054028,
        watchdog=0x40058000,
    ),
    "RP2350": Chip(
        "RP2350",
        adc=0x400A0000,
        adc_fifo=8,
        adc_dreq=48,
        adc_select_bits=4,
        dma_abort=0x50000464,
        timer_low=0x400B0028,
        watchdog=0x400D8000,
    ),
}

# The same on both chips.
SIO_INPUTS = 0xD0000004  # GPIO_IN
ADC_CS = 0x00
ADC_FCS = 0x08
ADC_FIFO = 0x0C
ADC_DIV = 0x10
CS_ENABLE = 1 << 0
CS_START_MANY = 1 << 3
CS_ERROR_STICKY = 1 << 10
CS_SELECT_SHIFT = 12
CS_ROUND_ROBIN_SHIFT = 16
FCS_ENABLE = 1 << 0
FCS_DREQ = 1 << 3
FCS_UNDER = 1 << 10
FCS_OVER = 1 << 11
FCS_LEVEL_SHIFT = 16
FCS_THRESHOLD_SHIFT = 24
ADC_CLOCK_HZ = 48000000
ADC_CYCLES = 96  # of one conversion
FIRST_ADC_PIN = 26
PIO0 = 0x50200000
PIO_RXF = 0x20
PIO_RX_DREQ = 4  # of state machine 0 of PIO0
DMA_WRITE_TRIGGER_WORD = 11  # AL2_WRITE_ADDR_TRIG in a channel's registers
WATCHDOG_SCRATCH = 0x0C


# The boards whose GP23 sets the mode of their own supply, by the maker's name: their data
# sheets, "Powerchain". Low: it saves power at light load, and ripples; high: it keeps its
# frequency. On a W board that pin is another's.
REGULATOR_BOARDS = ("Raspberry Pi Pico with ", "Raspberry Pi Pico2 with ")
PIN_REGULATOR = 23


def adc_divider(cycles):
    """ADC_DIV for so many cycles from one conversion to the next."""
    # Below the conversion's own length it means: without a pause.
    return (cycles - 1 if cycles > ADC_CYCLES else 0) << 8


def has_regulator():
    """Whether this board's supply has a mode that a pin sets."""
    import os

    return os.uname().machine.startswith(REGULATOR_BOARDS)


def this_chip():
    """The chip this runs on."""
    import os

    machine = os.uname().machine
    for name, chip in CHIPS.items():
        if name in machine:
            return chip
    raise RuntimeError("no RP2040 and no RP2350: " + machine)
