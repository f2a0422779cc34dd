"""The period of a 16-bit converter: its state machine's program, played cycle by cycle."""

import importlib.util
import itertools
import sys
import types

import pytest
from configs import Changed, sixteen
from places import FIRMWARE

import config
import config_check
import waveform
from waveform import Waveform, wait

CLOCKS_HZ = (125_000_000, 150_000_000)  # of an RP2040 and an RP2350
RATES_HZ = (100_000, 125_000, 156_250, 200_000, 250_000, 312_500, 500_000)


def test_every_wait_is_as_long_as_it_says():
    for cycles in range(waveform.LEAST_WAIT, waveform.MOST_WAIT + 1):
        delay, loops, first, second = wait(cycles)
        assert 1 + delay + loops * (2 + first + second) == cycles
        # Four bits beside the side-set; five bits of `set`.
        assert all(0 <= one <= 15 for one in (delay, first, second))
        assert 1 <= loops <= 32


def test_no_wait_is_longer():
    with pytest.raises(ValueError, match="829 cycles"):
        wait(waveform.MOST_WAIT + 1)


class Line:
    """One instruction, as the assembler's functions note it."""

    def __init__(self, name, *what):
        self.name, self.what, self.level, self.delay = name, what, 0, 0

    def side(self, level):
        self.level = level
        return self

    def __getitem__(self, delay):
        assert 0 <= delay <= 15
        self.delay = delay
        return self


class Assembler:
    """Stands for rp2: keeps the instructions and labels of a program."""

    PIO = types.SimpleNamespace(OUT_LOW=0, SHIFT_LEFT=0, JOIN_RX=2)

    def __init__(self):
        self.lines, self.labels = [], {}

    def asm_pio(self, **settings):
        self.settings = settings

        def assemble(program):
            def noted(name):
                def note(*what):
                    self.lines.append(Line(name, *what))
                    return self.lines[-1]

                return note

            names = {name: noted(name) for name in ("set", "nop", "jmp", "in_", "push")}
            words = {name: name for name in ("pins", "x", "y", "x_dec", "y_dec", "noblock")}
            names["label"] = lambda name: self.labels.update({name: len(self.lines)})
            names["wrap_target"] = names["wrap"] = lambda: None
            types.FunctionType(program.__code__, {**names, **words}, closure=program.__closure__)()
            return self

        return assemble


def loaded(assembler):
    """The module, with `assembler` for rp2 and no pins."""
    spec = importlib.util.spec_from_file_location(
        "three_wire_played", FIRMWARE / "hardware" / "three_wire.py"
    )
    module = importlib.util.module_from_spec(spec)
    machine = types.SimpleNamespace(Pin=None, freq=None, mem32=None)
    before = {name: sys.modules.get(name) for name in ("rp2", "machine")}
    sys.modules.update(rp2=assembler, machine=machine)
    try:
        spec.loader.exec_module(module)
    finally:
        for name, one in before.items():
            sys.modules.pop(name)
            if one is not None:
                sys.modules[name] = one
    return module


def played(form):
    """Cycles of each change of start and clock, of each look at data, and of all."""
    assembler = Assembler()
    loaded(assembler)._program(form.half, form.convert, form.rest)
    assert len(assembler.lines) <= 32  # the memory of a PIO
    return play(assembler)


def play(assembler):
    now = place = 0
    start = clock = 0
    registers = {"x": 0, "y": 0}
    seen = []
    while place < len(assembler.lines):
        line = assembler.lines[place]
        place += 1
        if line.name == "in_":
            seen.append((now, "look"))  # before the side-set of this very cycle
        if line.level != clock:
            clock = line.level
            seen.append((now, "rise" if clock else "fall"))
        if line.name == "set" and line.what[0] == "pins":
            start = line.what[1]
            seen.append((now, "start" if start else "over"))
        elif line.name == "set":
            assert 0 <= line.what[1] <= 31
            registers[line.what[0]] = line.what[1]
        elif line.name == "jmp":
            name = line.what[0][0]
            if registers[name]:
                place = assembler.labels[line.what[1]]
            registers[name] -= 1
        elif line.name == "push":
            assert line.what == ("noblock",)  # it never waits
            seen.append((now, "push"))
        now += 1 + line.delay
    return now, seen


def test_registers():
    """Copied from pico-sdk 2.2.0 (BSD-3-Clause), addressmap.h, pio.h and dreq.h of both chips."""
    module = loaded(Assembler())
    assert module.PIO1 == 0x50300000  # PIO1_BASE
    assert (module.PIO_CTRL, module.PIO_FDEBUG, module.PIO_RXF) == (0x00, 0x08, 0x20)
    assert (module.SET, module.CLEAR) == (2 << 12, 3 << 12)  # REG_ALIAS_SET_BITS, _CLR_BITS
    assert module.PIO1_RX_DREQ == 12  # DREQ_PIO1_RX0
    # Bits of state machine 0: SM_ENABLE from bit 0, RXSTALL from 0, RXUNDER from 8.
    assert (module.RUN, module.STALLED, module.UNDER) == (1 << 0, 1 << 0, 1 << 8)


CASES = [
    (clock, rate, took)
    for clock, rate, took in itertools.product(CLOCKS_HZ, RATES_HZ, (100, 640, 800, 2200, 5000))
    if not config_check.find_faults(
        Changed(
            config,
            sixteen(CONVERSION_RATE_HZ=rate, CONVERSION_TIME_NS=took, GUARD_AFTER_S=0.3),
        )
    )
]


@pytest.mark.parametrize(("clock_hz", "rate_hz", "conversion_ns"), CASES)
def test_a_period_of_any_right_config(clock_hz, rate_hz, conversion_ns):
    """Its length to the cycle, the conversion's time, 16 clocks, each bit in its place."""
    length, seen = played(Waveform(clock_hz, rate_hz, conversion_ns))
    assert length * rate_hz == clock_hz
    ns = 1e9 / clock_hz
    (began,) = [at for at, what in seen if what == "start"]
    (over,) = [at for at, what in seen if what == "over"]
    assert began == 0
    assert (over - began) * ns >= conversion_ns
    looks, rises, falls = (
        [at for at, what in seen if what == one] for one in ("look", "rise", "fall")
    )
    assert looks == falls  # two cycles of the input's synchroniser before the fall
    assert len(rises) == len(falls) == 16
    assert rises[0] > over
    for high, low in zip(rises, falls, strict=True):
        assert (low - high) * ns >= waveform.HALF_NS
    # Behind a fall the next bit has this long to come: 20 ns and less in data sheets.
    for before, look in zip([over, *falls], looks, strict=False):
        assert (look - before - 2) * ns >= 40
    (pushed,) = [at for at, what in seen if what == "push"]
    assert falls[-1] < pushed < length


def test_the_cases_are_many():
    assert len(CASES) > 30
    assert {rate for _, rate, _ in CASES} == set(RATES_HZ)


@pytest.mark.parametrize(
    ("clock_hz", "rate_hz", "conversion_ns", "text"),
    [
        (125_000_000, 240_000, 1000, "makes no 240000 conversions"),
        (133_000_000, 250_000, 1000, None),
        (125_000_000, 500_000, 1000, "longer than a period"),
    ],
)
def test_what_no_state_machine_can_play(clock_hz, rate_hz, conversion_ns, text):
    if text is None:  # a chip with another clock: still exact
        assert played(Waveform(clock_hz, rate_hz, conversion_ns))[0] * rate_hz == clock_hz
        return
    with pytest.raises(ValueError, match=text):
        Waveform(clock_hz, rate_hz, conversion_ns)
