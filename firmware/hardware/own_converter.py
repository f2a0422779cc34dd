"""The chip's own converter of 12 bits: see sampler.py for what a source is."""

from array import array

from machine import ADC, Pin, mem32

from hardware import chips


def prepare(chip, config):
    """Pads and registers; nothing is converted yet."""
    cs, fcs = chip.adc + chips.ADC_CS, chip.adc + chips.ADC_FCS
    fifo = chip.adc + chips.ADC_FIFO
    cycles = chips.ADC_CLOCK_HZ // config.CONVERSION_RATE_HZ
    pins = config.PIN_CONVERTER
    for pin in pins:
        ADC(Pin(pin))
    bits = chips.CS_ENABLE | pins[0] - chips.FIRST_ADC_PIN << chips.CS_SELECT_SHIFT
    if len(pins) > 1:
        for pin in pins:
            bits |= 1 << pin - chips.FIRST_ADC_PIN + chips.CS_ROUND_ROBIN_SHIFT
    fcs_bits = chips.FCS_ENABLE | chips.FCS_DREQ | 1 << chips.FCS_THRESHOLD_SHIFT
    mem32[cs] = bits
    mem32[chip.adc + chips.ADC_DIV] = chips.adc_divider(cycles)
    mem32[fcs] = 0
    while mem32[fcs] >> chips.FCS_LEVEL_SHIFT & 15:
        mem32[fifo]  # drain
    mem32[fcs] = fcs_bits | chips.FCS_OVER | chips.FCS_UNDER
    running = bits | chips.CS_START_MANY
    registers = array("I", [cs, running, cs, 0])
    registers.extend(array("I", [fcs, chips.FCS_OVER, fcs_bits | chips.FCS_OVER]))
    error = chips.CS_ERROR_STICKY
    registers.extend(array("I", [cs, error, running | error]))
    return cycles, chips.ADC_CLOCK_HZ // 1000000, fifo, chip.adc_dreq, registers
