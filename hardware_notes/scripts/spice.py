"""SPICE deck of the analogue front end, made from the netlist.

Chips are simple: one pole, a slew rate, outputs that stop at their rails, the two inner nodes of an
instrumentation amplifier. What is assumed of each stands in `MODELS` beside its number. The deck
knows nothing of layout, of leakage over a dirty board and of what an amplifier does beyond its
common-mode range.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from netlist import Net, Netlist, Part, the_netlist

BRIDGE_OHM = 350.0
CONVERTER_OHM = 100e3  # effective, at 500 kS/s; data sheet of the chip
RATED_N = 5000.0
SENSITIVITY_V_PER_V = 2e-3
CABLE_OHM = 0.62  # 5 m of 0.14 mm2 copper, one wire
SCHOTTKY = "d(is=1e-7 n=1.34 rs=1)"  # 0.24 V at 0.1 mA, 0.32 V at 1 mA
CABLE = ("EXC+", "EXC-", "SIG+", "SIG-")

# Weakest of the kinds that the parts list allows; numbers from memory of such parts' data sheets.
MODELS = """\
* Op-amp: open loop 100 dB, gain-bandwidth 10 MHz, 7 V/us, stops 50 mV from its rails,
* output 150 ohm open loop.
.subckt opamp inp inn vp vn out
Bg 0 x I = 111u * tanh(V(inp,inn) * 1m / 111u)
Rx x 0 1e8
Cx x 0 15.9p
Bh h 0 V = V(vp) - 0.098
Dh x h stop
Bl l 0 V = V(vn) + 0.098
Dl l x stop
Eo o 0 x 0 1
Ro o out 150
.ends opamp
.model stop d(is=1e-12 n=0.1)

* Instrumentation amplifier of three op-amps: inner nodes 0.8 V above the inputs, each stops 50 mV
* from its rails; one pole at 20 kHz with a gain of 100; 65 nA out of each input; output as they.
.subckt inamp inp inn rg1 rg2 ref out vp vn
Rg1 rg1 m 1m
Vg m rg2 0
Ba a 0 V = max(V(vn)+0.05, min(V(vp)-0.05, (V(inp)+V(inn))/2 + 0.8 + {gain}/2*V(inp,inn)))
Bb b 0 V = max(V(vn)+0.05, min(V(vp)-0.05, (V(inp)+V(inn))/2 + 0.8 - {gain}/2*V(inp,inn)))
Rp t p 1k
Cp p 0 7.96n
Bt t 0 V = V(a) - V(b) + V(ref)
Bo o 0 V = max(V(vn)+0.05, min(V(vp)-0.05, V(p)))
Ro o out 10
Ri inp inn 1e12
Ip 0 inp 65n
In 0 inn 65n
.ends inamp

* Series reference: gives up to 40 mA, takes none, works from 0.2 V above its output on.
.subckt reference in out gnd
Br 0 out I = max(0, min(0.04, (min(3.0, V(in,gnd)-0.2) - V(out,gnd)) * 20))
Rr out gnd 1e9
.ends reference
"""

# The board: its 3.3 V, the 200 ohm and 2.2 uF at ADC_VREF (data sheet of the board), the converter
# as 100 kohm, and a diode of the chip at the pin (silicon, to see whether it conducts).
BOARD = """\
Vboard {3V3} 0 {board_v}
Vsys {VSYS} 0 {vsys_v}
Rboard {3V3} {EXC+} 200
Rvref {EXC+} vref_c 1
Cvref vref_c 0 2.2u
Radc {FORCE} 0 {converter_ohm}
Dchip {FORCE} chip silicon
Vchip chip {3V3} 0
.model silicon d(is=1e-15 n=1)
Vshunt {SHUNT} 0 {shunt_v}
"""


@dataclass(frozen=True)
class Bench:
    """What is done to the front end.

    Attributes
    ----------
    force_n : float
        Pull on the cell, N.
    opened : tuple of str
        Wires of the cable that are open: ``EXC+``, ``EXC-``, ``SIG+``, ``SIG-``.
    shorted : tuple of (str, str)
        Pairs of them that touch at the cell's end.
    shunt : bool
        The board's pin is high.
    ac : bool
        The small signal is 1 V, as a differential source in the bridge.
    step_n : float
        Pull that comes on at 1 ms, N.
    zero_v : float
        Level without force for which the trimmer is set, V.
    fault_v : float or None
        Voltage that is forced onto the filter's output, V.
    board_v, system_v : float
        The board's 3.3 V, and VSYS, V.
    changed : tuple of (str, float)
        Parts that have another value than the netlist's, in ohm or farad.
    """

    force_n: float = 0.0
    opened: tuple[str, ...] = ()
    shorted: tuple[tuple[str, str], ...] = ()
    shunt: bool = False
    ac: bool = False
    step_n: float = 0.0
    zero_v: float = 0.50
    fault_v: float | None = None
    board_v: float = 3.3
    system_v: float = 4.7
    changed: tuple[tuple[str, float], ...] = ()


def pulled_v(netlist: Netlist) -> float:
    """What R105 and R106 take off the bridge's output at 3.0 V: each bends 175 ohm by 1.5 V, V."""
    pull_a = 1.5 / netlist.number("R105") + 1.5 / netlist.number("R106")
    return pull_a * BRIDGE_OHM / 2


def gain_of(netlist: Netlist) -> float:
    """Both stages, and the share that R115 leaves to a converter of 100 kohm."""
    first = 1 + 49.4e3 / netlist.number("R116")
    second = 1 + netlist.number("R111") / netlist.number("R112")
    return first * second * CONVERTER_OHM / (CONVERTER_OHM + netlist.number("R115"))


def trimmer_ohm(netlist: Netlist, level_v: float) -> float:
    """Setting of R110 for a level without force, where cell and chips have no offset of their own.

    Parameters
    ----------
    netlist : Netlist
        With R107 to R110.
    level_v : float
        At the converter, V.

    Returns
    -------
    float
        In ohm.

    Raises
    ------
    ValueError
        The level lies beyond the trimmer's range.
    """
    taken = CONVERTER_OHM / (CONVERTER_OHM + netlist.number("R115"))
    zero_v = (level_v + gain_of(netlist) * pulled_v(netlist)) / taken
    source = 1 / (1 / netlist.number("R107") + 1 / netlist.number("R108"))
    ohm = source * zero_v / (1.5 - zero_v) - netlist.number("R109")
    most = netlist.number("R110")
    if not 0 <= ohm <= most:
        raise ValueError(
            f"a level of {level_v} V wants {ohm:.0f} ohm of R110: it has 0 to {most:g}"
        )
    return ohm


def node(net: str) -> str:
    """A net's name as SPICE takes it; analogue ground is node 0."""
    if net == "AGND":
        return "0"
    return "n_" + net.lower().replace("+", "p").replace("-", "m")


def at_cell(wire: str) -> str:
    """Node at the cell's end of a wire of the cable."""
    return "cell_" + node(wire if wire != "EXC-" else "excm").removeprefix("n_")


def deck(bench: Bench = Bench(), netlist: Netlist | None = None) -> str:
    """The front end as SPICE text, without commands and ``.end``.

    Parameters
    ----------
    bench : Bench
        What is done to it.
    netlist : Netlist, optional
        That of the hardware notes if none is given.
    """
    netlist = netlist or the_netlist()
    lines = ["* analogue front end, made from the netlist by scripts/spice.py"]
    lines += _cell(bench)
    for part in netlist.on_sheet("analogue"):
        lines += _part(part, netlist, bench)
    lines += [_board(netlist, bench).strip()]
    gain = 1 + 49.4e3 / netlist.number("R116")
    lines += [MODELS.replace("{gain}", f"{gain:.6g}"), f".model schottky {SCHOTTKY}"]
    lines += [".model switch sw(vt=1.5 vh=0.1 ron=20 roff=1e11)"]
    if bench.fault_v is not None:
        lines += [f"Vfault {node('FILTERED')} 0 {bench.fault_v}"]
    return "\n".join(lines) + "\n"


def _cell(bench: Bench) -> list[str]:
    """Four arms, the cable's wires, what is open and what touches."""
    strain = bench.force_n / RATED_N * SENSITIVITY_V_PER_V
    up, down = BRIDGE_OHM * (1 + strain), BRIDGE_OHM * (1 - strain)
    plus, minus, high, low = (at_cell(wire) for wire in CABLE)
    lines = [f"* cell at {bench.force_n:g} N, {CABLE_OHM} ohm in each wire of its cable"]
    lines += [f"Rarm1 {plus} sig_p {down:.6f}", f"Rarm2 sig_p {minus} {up:.6f}"]
    lines += [f"Rarm3 {plus} {low} {up:.6f}", f"Rarm4 {low} {minus} {down:.6f}"]
    step_v = 3.0 * SENSITIVITY_V_PER_V * bench.step_n / RATED_N
    lines += [f"Vsig {high} sig_p DC 0 AC {int(bench.ac)} PULSE(0 {step_v:.6g} 1m 1u 1u 1)"]
    for wire in CABLE:
        ohm = 1e12 if wire in bench.opened else CABLE_OHM
        net = "AGND" if wire == "EXC-" else wire
        lines += [f"Rwire_{node(wire)} {at_cell(wire)} {node(net)} {ohm:g}"]
    for one, other in bench.shorted:
        lines += [f"Rshort_{node(one)}{node(other)} {at_cell(one)} {at_cell(other)} 0.01"]
    return lines


def _part(part: Part, netlist: Netlist, bench: Bench) -> list[str]:
    nodes = [node(netlist.net_of[f"{part.name}.{pin}"]) for pin in part.pins]
    by_pin = dict(zip(part.pins, nodes, strict=True))
    if part.kind in ("resistor", "capacitor"):
        value = dict(bench.changed).get(part.name, netlist.number(part.name))
        return [f"{part.name} {' '.join(nodes)} {value:g}"]
    if part.kind == "trimmer":
        ohm = max(trimmer_ohm(netlist, bench.zero_v), 0.1)
        return [f"{part.name} {by_pin['1']} {by_pin['W']} {ohm:g}"]
    if part.kind == "quad op-amp":
        return [
            f"X{part.name}{one} {by_pin[one + '+']} {by_pin[one + '-']} {by_pin['V+']} "
            f"{by_pin['V-']} {by_pin[one + 'OUT']} opamp"
            for one in "ABCD"
        ]
    if part.kind == "Schottky pair":
        low, middle, high = nodes
        return [
            f"{part.name}a {low} {middle} schottky",
            f"V{part.name} {part.name}k {high} 0",
            f"{part.name}b {middle} {part.name}k schottky",
        ]
    if part.kind == "MOSFET":
        gate, source, drain = (by_pin[pin] for pin in "GSD")
        return [f"S{part.name} {drain} {source} {gate} {source} switch"]
    chips = {"instrumentation amplifier": "inamp", "voltage reference": "reference"}
    if part.kind in chips:
        return [f"X{part.name} {' '.join(nodes)} {chips[part.kind]}"]
    if part.kind == "link":
        return [f"R{part.name} {' '.join(nodes)} 0.01"]
    # The cell and its connector are `_cell`; a TVS diode and a test point do nothing here.
    return [f"* {part.name}: {part.kind}"]


def _board(netlist: Netlist, bench: Bench) -> str:
    text = BOARD.replace("{board_v}", f"{bench.board_v}").replace("{vsys_v}", f"{bench.system_v}")
    text = text.replace("{converter_ohm}", f"{CONVERTER_OHM:g}")
    text = text.replace("{shunt_v}", "3.3" if bench.shunt else "0")
    for name in ("3V3", "VSYS", "EXC+", "FORCE", "SHUNT"):
        text = text.replace("{" + name + "}", node(name))
    return text


def run_text(bench: Bench, commands: Iterable[str], netlist: Netlist | None = None) -> str:
    """The deck with the commands that ngspice runs in batch mode."""
    return deck(bench, netlist) + "\n.control\n" + "\n".join(commands) + "\n.endc\n.end\n"


def checked_in() -> str:
    """The deck at the target, as it stands in the repository, for an ngspice at a prompt."""
    how = [
        "* ngspice front_end.cir, then: op, print v(n_force); ac dec 100 1 1meg, plot vdb(n_force)",
        "* Another pull: the arms. An open wire: its Rwire at 1e12; wires touch: 0.01 ohm between.",
    ]
    lines = deck(Bench(force_n=1800.0, ac=True)).splitlines()
    return "\n".join([lines[0], *how, *lines[1:], ".end"]) + "\n"


def cable_wires(netlist: Netlist) -> list[Net]:
    """The nets of the cell's cable."""
    return [net for net in netlist.cables() if net.sheet == "analogue"]
