"""Closed forms of the analogue front end, by the netlist's values, and the picture of its response.

They stand beside the SPICE deck: the same parts, reckoned by hand. Poles do not load each other,
but for the two of the filter: each stage is driven by an op-amp or is ten times the impedance of
the one before.
"""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
import numpy.typing as npt
import spice
from netlist import the_netlist

FIRST_STAGE_HZ = 20e3  # least bandwidth of the amplifier at a gain of 100, parts list
HALF_SAMPLE_HZ = 31_250.0  # half of 62 500 samples/s, config.py
HALF_CONVERSION_HZ = 250_000.0  # half of 500 000 conversions/s, config.py
Complex = npt.NDArray[np.complex128]


def ohm(name: str) -> float:
    """Value of a part, in ohm or farad."""
    return the_netlist().number(name)


farad = ohm


def pole(frequency_hz: npt.ArrayLike, corner_hz: float) -> Complex:
    """Transfer function of one pole, 1 / (1 + jf / fc)."""
    return 1 / (1 + 1j * np.asarray(frequency_hz, dtype=float) / corner_hz)


def filter_hz() -> float:
    """Corner of the second-order filter, 1 / (2 pi sqrt(R1 R2 C1 C2)) (unity-gain Sallen-Key)."""
    product = ohm("R113") * ohm("R114") * farad("C108") * farad("C109")
    return 1 / (2 * math.pi * math.sqrt(product))


def filter_q() -> float:
    """Its quality, sqrt(R1 R2 C1 C2) / (C2 (R1 + R2)) (unity-gain Sallen-Key)."""
    product = ohm("R113") * ohm("R114") * farad("C108") * farad("C109")
    return math.sqrt(product) / (farad("C109") * (ohm("R113") + ohm("R114")))


def input_hz() -> float:
    """Corner of the radio filter for the signal: R103, R104, the bridge; C103, half of C104."""
    source = ohm("R103") + ohm("R104") + spice.BRIDGE_OHM
    return 1 / (2 * math.pi * source * (farad("C103") + farad("C104") / 2))


def converter_hz() -> float:
    """Corner of R115 and C110."""
    return 1 / (2 * math.pi * ohm("R115") * farad("C110"))


def second_stage(frequency_hz: npt.ArrayLike) -> Complex:
    """Second stage over its gain at rest: 1 + R111 / (1 + j w R111 C107) / R112."""
    w = 2j * math.pi * np.asarray(frequency_hz, dtype=float)
    feedback = ohm("R111") / (1 + w * ohm("R111") * farad("C107"))
    return (1 + feedback / ohm("R112")) / (1 + ohm("R111") / ohm("R112"))


def second_order(frequency_hz: npt.ArrayLike) -> Complex:
    """The filter alone, 1 / (1 + jx / Q - x2) with x = f / f0."""
    x = np.asarray(frequency_hz, dtype=float) / filter_hz()
    return 1 / (1 + 1j * x / filter_q() - x**2)


def response(frequency_hz: npt.ArrayLike) -> Complex:
    """The whole front end, from bridge to converter pin, over its gain at rest."""
    return (
        pole(frequency_hz, input_hz())
        * pole(frequency_hz, FIRST_STAGE_HZ)
        * second_stage(frequency_hz)
        * second_order(frequency_hz)
        * pole(frequency_hz, converter_hz())
    )


def loss_db(frequency_hz: float) -> float:
    """Loss of the whole front end, in dB."""
    return float(-20 * np.log10(np.abs(response(frequency_hz))))


def bandwidth_hz() -> float:
    """Where 3.01 dB are lost."""
    from scipy.optimize import brentq

    return float(brentq(lambda f: loss_db(f) - 10 * math.log10(2), 500.0, 20e3))


def noise_bandwidth_hz() -> float:
    """Width of the rectangle that passes as much white noise."""
    f = np.geomspace(1.0, 1e6, 20_001)
    return float(np.trapezoid(np.abs(response(f)) ** 2, f) + f[0])


def overshoot() -> float:
    """Of the second-order filter after a step, exp(-pi z / sqrt(1 - z2)), z = 1 / 2Q."""
    z = 1 / (2 * filter_q())
    return math.exp(-math.pi * z / math.sqrt(1 - z * z))


def picture() -> str:
    """SVG of the response: this front end, one RC of 1 kHz, and what the classes leave."""
    import matplotlib
    from matplotlib.figure import Figure

    text = {"svg.hashsalt": "tautlog", "svg.fonttype": "none", "font.family": "sans-serif"}
    with matplotlib.rc_context(text):
        figure = Figure(figsize=(9, 4.2), layout="constrained")
        near, far = figure.subplots(1, 2)
        _pass_band(near)
        _stop_band(far)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _pass_band(axes: Any) -> None:
    f = np.geomspace(100, 14_000, 240)
    axes.semilogx(f, 20 * np.log10(np.abs(response(f))), "k-", lw=1.8)
    axes.semilogx(f, 20 * np.log10(np.abs(pole(f, 1000))), "k--", lw=1.2)
    for at in (180, 600, 1000):
        axes.plot([at, 5 / 3 * at], [-0.545, -0.99], "kv", ms=6, mfc="white")
        _note(axes, f"{at}", (at, -0.5), (0, 5), "center")
        beside, side = ((4, -14), "right") if at == 1000 else ((0, -14), "center")  # the curve
        _note(axes, f"{at}", (5 / 3 * at, -0.99), beside, side, fontsize=8)
    _note(axes, "this front end", (2900, -2.2), (0, 0), "left")
    _note(axes, "one RC of 1 kHz", (700, -2.2), (0, 0), "right")
    axes.set(xlim=(100, 14_000), ylim=(-4, 0.6), xlabel="frequency, Hz", ylabel="dB")
    words = "markers: the most\nthat a class leaves,\nat its number and\nat 5/3 of it"
    _note(axes, words, (110, -3.2), (0, 0), "left", va="center", fontsize=9)
    axes.set_title("What is taken", fontsize=10)
    axes.grid(alpha=0.3, which="major")


def _stop_band(axes: Any) -> None:
    f = np.geomspace(1000, 300e3, 200)
    axes.semilogx(f, 20 * np.log10(np.abs(response(f))), "k-", lw=1.8)
    axes.semilogx(f, 20 * np.log10(np.abs(pole(f, 1000))), "k--", lw=1.2)
    axes.axhline(-40, color="k", lw=0.8, ls=":")
    _note(axes, "40 dB wanted", (1080, -40), (0, 4), "left")
    for at, name in (
        (HALF_SAMPLE_HZ, "half the samples"),
        (HALF_CONVERSION_HZ, "half the conversions"),
    ):
        axes.axvline(at, color="k", lw=0.8)
        _note(axes, name, (at, -118), (-4, 0), "right", va="bottom", rotation=90)
    _note(axes, "one RC of 1 kHz", (88e3, -30), (0, 0), "center")
    _note(axes, "this front end", (17e3, -52), (0, 0), "right")
    axes.set(xlim=(1000, 300e3), ylim=(-120, 5), xlabel="frequency, Hz", ylabel="dB")
    axes.set_title("What is kept out", fontsize=10)
    axes.grid(alpha=0.3, which="major")


def _note(
    axes: Any, text: str, at: tuple[float, float], by: tuple[float, float], ha: str, **more: Any
) -> None:
    axes.annotate(text, at, by, textcoords="offset points", ha=ha, **more)


def wires_table() -> str:
    """Markdown: what each wire of the cell's cable reads when it is open, and when it touches."""
    rows = ["| wire | open | touches | basis |", "| --- | --- | --- | --- |"]
    for net in spice.cable_wires(the_netlist()):
        name = "EXC-" if net.name == "AGND" else net.name
        rows.append(f"| {name} | {net.opened} | {net.shorted} | own simulation |")
    return "\n".join(rows)
