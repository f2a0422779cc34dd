"""A 16-bit converter of successive approximation on the emulated chip's pins.

As data sheets of such parts describe their three-wire interface without busy indicator. A
rise of start ends the acquisition, begins a conversion and makes data high-impedance. The
conversion takes its time whatever start does. If start is still high when it is over, the
fall of start brings the most significant bit; each fall of the clock brings the next,
the 16th makes data high-impedance. If start has already fallen when it is over, data go
low instead, which such parts call the busy indicator, and the bits begin only with the
first fall of the clock: who reads too early is one bit behind.
"""

from collections.abc import Callable, Iterator

BITS = 16
CYCLE_NS = 8  # of the emulated processor
STRIDE = 0x9E3B  # odd, so that a count in such steps shows every bit, every slip and every loss


class ThreeWireConverter:
    """One converter; `values` are what its input shows at each conversion.

    Attributes
    ----------
    conversions : int
        Begun so far.
    hurried : int
        Conversions whose acquisition was shorter than it must be.
    cut_short : int
        Readings of fewer or more than 16 falls of the clock.
    """

    def __init__(
        self,
        mcu,
        clock,
        pins: tuple[int, int, int],
        values: Iterator[int],
        conversion_ns: float,
        acquisition_ns: float = 400.0,
    ) -> None:
        self._clock, self._values = clock, values
        start, clock_pin, data = (mcu.gpio[pin] for pin in pins)
        self._data = data
        self._first_ns = conversion_ns
        self._conversion_ns, self._acquisition_ns = conversion_ns, acquisition_ns
        self._stuck: int | None = None
        self._code = self._falls = 0
        self._start_is_high = self._is_converting = False
        self._is_late = False  # the bits begin with the first fall of the clock
        self._over_ns = 0.0
        self.conversions = self.hurried = self.cut_short = 0
        self._over = clock.create_alarm(self._end)
        self._pio = mcu.pio[1]
        self._next = clock.create_alarm(self._play)
        self._cycles = 0  # to the state machine's next instruction
        self._is_played = False
        self._drive(None)
        start.add_listener(self._edge(self._start_rose, self._start_fell))
        clock_pin.add_listener(self._edge(lambda: None, self._clock_fell))

    @staticmethod
    def _edge(
        rose: Callable[[], None], fell: Callable[[], None]
    ) -> Callable[[object, object], None]:
        def changed(now: object, before: object) -> None:
            if int(now) == 1:
                rose()
            elif int(before) == 1:
                fell()

        return changed

    def _play(self) -> None:
        """Play the state machine's next instruction, at its very cycle.

        The emulator gives it one step for each instruction of the processor, and loses time
        where that sleeps or takes an interrupt; a state machine of silicon does not.
        """
        self._pio.advance(self._cycles)
        self._await_next()

    def _await_next(self) -> None:
        pio = self._pio
        self._is_played = pio.stopped = pio.machines[0].enabled
        if self._is_played:
            self._cycles = max(pio.next_due_fp - pio.cycle_fp >> 8, 1)
            self._next.schedule(CYCLE_NS * self._cycles)

    def _start_rose(self) -> None:
        if not self._is_played:
            self._await_next()
        self._start_is_high = True
        self._drive(None)
        if self._is_converting:
            return
        now_ns = self._clock.nanos
        if self.conversions:
            self.hurried += now_ns - self._over_ns < self._acquisition_ns
            self.cut_short += self._falls != BITS
        self._code = next(self._values)
        self.conversions += 1
        self._is_converting = True
        self._falls, self._is_late = 0, False
        self._over.schedule(self._conversion_ns)

    def _end(self) -> None:
        self._is_converting = False
        self._over_ns = self._clock.nanos
        if not self._start_is_high:
            self._is_late = True
            self._drive(0)

    def _start_fell(self) -> None:
        self._start_is_high = False
        if not self._is_converting:
            self._show(0)

    def _clock_fell(self) -> None:
        if self._start_is_high or self._is_converting:
            return
        self._falls += 1
        self._show(self._falls - self._is_late)

    def _show(self, place: int) -> None:
        if place < BITS:
            self._drive(self._code >> BITS - 1 - place & 1)
        else:
            self._drive(None)

    def _drive(self, level: int | None) -> None:
        """Give data a level, or let go of it."""
        if self._stuck is not None:
            level = self._stuck
        if level is None:
            self._data.release_input()
        else:
            self._data.set_input_value(bool(level))

    def change(self, conversion_ns: float = 0.0, stuck: int | None = None) -> None:
        """From now on it takes longer, or its data wire is shorted; without either it is well."""
        self._conversion_ns = conversion_ns or self._first_ns
        self._stuck = stuck


def strides() -> Iterator[int]:
    """Conversions of 16 bits, each of which is known: number n is n x STRIDE."""
    value = 0
    while True:
        yield value
        value = (value + STRIDE) & 0xFFFF
