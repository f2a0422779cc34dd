"""Stopping DMA channels that start each other."""

from machine import mem32

ABORT_TRIES = 50


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
    for _ in range(ABORT_TRIES):  # a few cycles are enough; an emulator may never say so
        if not mem32[chip.dma_abort] & mask:
            break
    for one in channels:
        one.close()
