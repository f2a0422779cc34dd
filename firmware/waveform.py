"""How the clock cycles of a 16-bit converter's period are shared out.

A rising edge of the start wire begins a conversion; start stays high until the conversion
is over, then falls, which brings out the most significant bit. Each falling edge of the
clock brings the next bit. All in cycles of the processor's clock, so that every period is
as long as every other; whole numbers, tried under any interpreter.
"""

BITS = 16
HALF_NS = 32  # least of half a clock: a wire of a hand's length at 3.3 V settles in it
READ_NS = 1200  # at most, from the fall of start to the next rise: see `Waveform`
CLOCK_STEP_HZ = 25000000  # rates that divide it suit both chips, at 125 and at 150 MHz
SLOWEST_HZ, FASTEST_HZ = 100000, 500000
LEAST_WAIT, MOST_WAIT = 3, 828  # cycles, between which `wait` finds every length


class Waveform:
    """One period.

    Parameters
    ----------
    clock_hz, rate_hz : int
        Of the processor, of the conversions; the second must divide the first.
    conversion_ns : int
        Longest time of a conversion.

    Attributes
    ----------
    period, half : int
        Cycles of the whole, and of half a clock.
    convert, rest : tuple
        The waits behind the rises of start and behind the last bit, see `wait`.

    Raises
    ------
    ValueError
        If no waveform is as short, or if the periods could not all be equal.
    """

    def __init__(self, clock_hz, rate_hz, conversion_ns):
        if clock_hz % rate_hz:
            raise ValueError("a clock of %d Hz makes no %d conversions" % (clock_hz, rate_hz))
        self.period = clock_hz // rate_hz
        self.half = -(-clock_hz * HALF_NS // 1000000000)
        # Start falls, the first rise, 15 falls and rises, the last fall, the push.
        read = (2 * BITS + 1) * self.half + 1
        convert = max(-(-clock_hz * conversion_ns // 1000000000) - 2, LEAST_WAIT)
        rest = self.period - 2 - convert - read
        if rest < LEAST_WAIT:
            raise ValueError("%d ns and a reading are longer than a period" % conversion_ns)
        if rest > MOST_WAIT:  # start may stay high for longer
            convert, rest = convert + rest - MOST_WAIT, MOST_WAIT
        self.convert, self.rest = wait(convert), wait(rest)


def wait(cycles):
    """Share out a wait: ``1 + delay + loops x (2 + first + second)`` cycles.

    Returns
    -------
    tuple of int
        delay (0 to 15), loops (1 to 32), first and second (0 to 15).

    Raises
    ------
    ValueError
        If there is none of that length.
    """
    for loops in range(1, 33):
        each = min(32, (cycles - 1) // loops)
        delay = cycles - 1 - loops * each
        if each >= 2 and 0 <= delay <= 15:
            first = (each - 2) // 2
            return delay, loops, first, each - 2 - first
    raise ValueError("no wait of %d cycles" % cycles)
