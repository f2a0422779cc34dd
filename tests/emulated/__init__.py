"""The board module on an emulated RP2040 that runs a real MicroPython image."""
