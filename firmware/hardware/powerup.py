"""The memory for samples, taken at power-up, once the event of an earlier life is out of it.

`board.py` imports this and lets it go again: its own memory is wanted, too.
"""

import gc

import uctypes
from machine import mem32

import config
import events
import keepsake
import wire
from bare import SCRATCH

RAW_BYTES = 8192  # for conversions on their way into the history
SAMPLES_SHARE = 5, 8  # of the heap; the rest is the firmware's, and some of that stays free
# Scratch registers: where an event lies, its bytes, and both again, so that chance is told.
ADDRESS, BYTES, CHECK = SCRATCH + 4, SCRATCH + 8, SCRATCH + 12
FLIPPED = 0x3FFFFFFF
PIECE = 1008  # with its head 1 KiB
GRAIN = 16  # bytes that the heap gives out at least
DEEP = 8


def heap_bytes():
    """Bytes of the heap, used or free: the same at every start of the same image."""
    return gc.mem_alloc() + gc.mem_free()


def _address_of(count, depth=DEEP):
    """Where so many bytes would be given out, 0 for nowhere; wipes them.

    Deep in calls: a word that is left on the stack would hold them as a living object does.
    """
    if depth:
        return _address_of(count, depth - 1)
    gc.collect()
    try:
        return uctypes.addressof(bytearray(count))
    except MemoryError:
        return 0


def _heap_end():
    """Address at which the heap ends: that of its largest hole, at a start.

    Every image of MicroPython puts it elsewhere and none tells, so what can be had is
    halved until it is known.
    """
    fits, fails = 0, gc.mem_free() // GRAIN + 1
    end = 0
    while fails - fits > 1:
        half = (fits + fails) // 2
        address = _address_of(half * GRAIN)
        if address:
            fits, end = half, address + half * GRAIN
        else:
            fails = half
    return end


def take_top(length):
    """Return a zeroed bytearray at the top of the heap, where a restart finds it.

    The heap gives out the first hole that is large enough, so all below the wanted
    place is taken for a moment. To be called before anything else is in the way.
    """
    # Behind the last piece: its own roundings, and the heads of both.
    target = _heap_end() - length - 5 * GRAIN
    gc.collect()
    pieces = [None] * (heap_bytes() // PIECE)
    count = end = 0
    while end + 2 * (PIECE + GRAIN) < target:
        pieces[count] = bytearray(PIECE)
        end = uctypes.addressof(pieces[count]) + PIECE
        count += 1
    if target > end:
        pieces[count] = bytearray(target - end)
    top = bytearray(length)
    del pieces
    gc.collect()
    return top


def rescue():
    """Put an event that a reset has left in the memory into its file."""
    address, count = mem32[ADDRESS], mem32[BYTES]
    if not address or mem32[CHECK] != address ^ count ^ FLIPPED or not config.EVENT_FILE:
        return
    memory = memoryview(uctypes.bytearray_at(address, count))
    if keepsake.page_state(memory) in (wire.RECORDING, wire.HELD):
        keepsake.seal_rescued(memory)
        for _ in keepsake.write_pieces(config.EVENT_FILE, memory):
            pass


def take():
    """Memory for samples, as much as there is and config.py wants, at the end of the heap.

    Returns
    -------
    tuple
        Memory for what is kept, see keepsake.py; memory for raw blocks; blocks that the
        former holds. They follow from the image and config.py alone, so that the file of
        an event fits again after any restart.
    """
    part, whole = SAMPLES_SHARE
    count = heap_bytes() * part // whole - RAW_BYTES
    bits = wire.bits_for(config.REDUCTION, config.CONVERTER_BITS)
    values = len(config.CHANNELS) * config.SAMPLES_PER_BLOCK
    frame_bytes = wire.block_frame_bytes(values, bits)
    slots = keepsake.slots_in(count, frame_bytes, events.MEMORY_BYTES)
    slots = min(slots, config.HISTORY_BLOCKS or slots)
    count = keepsake.size(slots, frame_bytes, events.MEMORY_BYTES)
    top = memoryview(take_top(count + RAW_BYTES))
    address = uctypes.addressof(top)
    mem32[ADDRESS], mem32[BYTES] = address, count
    mem32[CHECK] = address ^ count ^ FLIPPED
    return top[:count], top[count:], slots
