"""Stopping DMA channels that start each other."""

from machine import mem32


def stop_channels(chip, channels):
    """Stop chained channels and give them back.

    All are disabled before any is aborted: an aborted channel may start the one
    it is chained to (RP2350 erratum E5).
    """
    mask = 0
    for one in channels:
        one.ctrl = one.pack_ctrl(default=one.ctrl, enable=False)
        mask |= 1 << one.channel
    mem32[chip.dma_abort] = mask
    while mem32[chip.dma_abort]:
        pass
    for one in channels:
        one.close()
