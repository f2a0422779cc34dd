"""The inner loops, in the assembly of both chips (ARMv6-M's part of Thumb).

`loops_viper.py` has the same functions for chips without this assembler; a
test holds them equal.
"""

import micropython


@micropython.asm_thumb
def reduce(r0, r1, r2, r3):
    """Sum conversions into samples of one channel.

    r0 conversions, u16; r1 samples to write, u16; r2 how many; r3 seven words:
    conversions a sample, bytes from one conversion of the channel to its next,
    bytes from one sample to the next, smallest and largest sample (kept), what is
    added to a sum, and by how many bits it is then shifted to the right.
    """
    ldr(r6, [r3, 4])
    label(SAMPLE)
    ldr(r7, [r3, 0])
    ldr(r4, [r3, 20])
    label(CONVERSION)
    ldrh(r5, [r0, 0])
    add(r4, r4, r5)
    add(r0, r0, r6)
    sub(r7, 1)
    bne(CONVERSION)
    ldr(r5, [r3, 24])
    lsr(r4, r5)
    strh(r4, [r1, 0])
    ldr(r5, [r3, 8])
    add(r1, r1, r5)
    ldr(r5, [r3, 12])
    cmp(r4, r5)
    bcs(NOT_LOWER)
    str(r4, [r3, 12])
    label(NOT_LOWER)
    ldr(r5, [r3, 16])
    cmp(r4, r5)
    bls(NOT_HIGHER)
    str(r4, [r3, 16])
    label(NOT_HIGHER)
    sub(r2, 1)
    bne(SAMPLE)
    mov(r0, 0)


@micropython.asm_thumb
def pack(r0, r1, r2, r3):
    """Pack conversions of 12 bits two and two into three bytes; wire.put_values is the text.

    r0 conversions, u16; r1 bytes to write; r2 how many pairs; r3 words as for `reduce`,
    of which the smallest and largest value are kept.
    """
    mov(r12, r3)
    ldr(r6, [r3, 12])
    ldr(r7, [r3, 16])
    label(PAIR)
    ldrh(r4, [r0, 0])
    ldrh(r5, [r0, 2])
    cmp(r4, r6)
    bcs(A_NOT_LOWER)
    mov(r6, r4)
    label(A_NOT_LOWER)
    cmp(r4, r7)
    bls(A_NOT_HIGHER)
    mov(r7, r4)
    label(A_NOT_HIGHER)
    cmp(r5, r6)
    bcs(B_NOT_LOWER)
    mov(r6, r5)
    label(B_NOT_LOWER)
    cmp(r5, r7)
    bls(B_NOT_HIGHER)
    mov(r7, r5)
    label(B_NOT_HIGHER)
    strb(r4, [r1, 0])
    lsr(r4, r4, 8)
    lsl(r3, r5, 4)
    orr(r4, r3)
    strb(r4, [r1, 1])
    lsr(r5, r5, 4)
    strb(r5, [r1, 2])
    add(r0, 4)
    add(r1, 3)
    sub(r2, 1)
    bne(PAIR)
    mov(r3, r12)
    str(r6, [r3, 12])
    str(r7, [r3, 16])
    mov(r0, 0)


@micropython.asm_thumb
def check(r0, r1, r2, r3):
    """Compute a CRC-32.

    r0 257 words, where the state goes and a table for each byte; r1 bytes; r2 where
    to start; r3 where to stop.
    """
    mov(r4, 0)
    mvn(r4, r4)
    add(r3, r3, r1)
    add(r1, r1, r2)
    mov(r6, 3)
    b(TEST)
    label(BYTE)
    ldrb(r5, [r1, 0])
    add(r1, 1)
    eor(r5, r4)
    lsl(r5, r5, 24)
    lsr(r5, r5, 22)
    add(r5, r5, r0)
    ldr(r5, [r5, 4])
    lsr(r4, r4, 8)
    eor(r4, r5)
    label(TEST)
    sub(r7, r3, r1)
    bls(DONE)
    cmp(r7, 4)
    bcc(BYTE)
    mov(r5, r1)
    and_(r5, r6)
    bne(BYTE)
    # From a word's address on, four bytes at a time: the state takes them in, and gives
    # a byte of them to the table four times.
    lsr(r7, r7, 2)
    label(WORD)
    ldr(r5, [r1, 0])
    add(r1, 4)
    eor(r4, r5)
    lsl(r5, r4, 24)
    lsr(r5, r5, 22)
    add(r5, r5, r0)
    ldr(r5, [r5, 4])
    lsr(r4, r4, 8)
    eor(r4, r5)
    lsl(r5, r4, 24)
    lsr(r5, r5, 22)
    add(r5, r5, r0)
    ldr(r5, [r5, 4])
    lsr(r4, r4, 8)
    eor(r4, r5)
    lsl(r5, r4, 24)
    lsr(r5, r5, 22)
    add(r5, r5, r0)
    ldr(r5, [r5, 4])
    lsr(r4, r4, 8)
    eor(r4, r5)
    lsl(r5, r4, 24)
    lsr(r5, r5, 22)
    add(r5, r5, r0)
    ldr(r5, [r5, 4])
    lsr(r4, r4, 8)
    eor(r4, r5)
    sub(r7, 1)
    bne(WORD)
    b(TEST)
    label(DONE)
    str(r4, [r0, 0])
    mov(r0, 0)
