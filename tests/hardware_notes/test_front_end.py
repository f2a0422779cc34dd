"""The analogue front end: ngspice runs the deck, closed forms stand beside it, the tool agrees."""

import itertools
import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET

import front_end
import numpy as np
import pytest
import spice
from figures import analogue as figures
from figures import noise
from figures import response as reckoned
from netlist import Netlist, NetlistError, Part, the_netlist
from scipy import signal
from sheets import NOTES
from spice import CABLE, Bench

import config
from tautlog.analysis.analog_filter import CORRIDOR_DB, class_loss_db
from tautlog.board.at_rest import AtRest
from tautlog.model.calibration import Calibration

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(not NGSPICE, reason="ngspice is not installed (Debian: ngspice)")
PAIRS = list(itertools.combinations(CABLE, 2))
STEP_V = 3.0 / 4096
CHAIN = Calibration(
    newton_per_volt=1e3 / figures.volt_newton(),
    zero_v=figures.LEVEL_V,
    reference_v=figures.EXCITATION_V,
    rail_low_v=figures.LOW_V,
    rail_high_v=figures.HIGH_V,
)
SHEET = " ".join((NOTES / "2_analogue.md").read_text(encoding="utf-8").split())


def ngspice(tmp_path, bench, *commands):
    """What ngspice prints, and the rows of data.txt if a command writes it."""
    path = tmp_path / "deck.cir"
    path.write_text(spice.run_text(bench, commands), encoding="utf-8")
    done = subprocess.run(
        [NGSPICE, "-b", path], cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    data = tmp_path / "data.txt"
    return done.stdout + done.stderr, np.loadtxt(data).T if data.exists() else None


def level_v(tmp_path, probe="v(n_force)", **bench):
    text, _ = ngspice(tmp_path, Bench(**bench), "op", f"print {probe}")
    found = re.search(rf"^{re.escape(probe)} = (\S+)$", text, re.MULTILINE)
    assert found, text
    return float(found[1])


def gain_db(tmp_path, **bench):
    """Gain over that at 1 Hz, as a function of the frequency."""
    _, data = ngspice(
        tmp_path,
        Bench(ac=True, force_n=900.0, **bench),
        "ac dec 100 1 1meg",
        "wrdata data.txt vdb(n_force)",
    )
    return lambda hz: np.interp(np.log(hz), np.log(data[0]), data[1] - data[1][0])


def corner_hz(gain):
    hz = np.geomspace(1000, 10_000, 20_000)
    return hz[np.argmax(gain(hz) < -10 * math.log10(2))]


@needs_ngspice
def test_the_pass_band_holds_every_class(tmp_path):
    gain = gain_db(tmp_path)
    assert corner_hz(gain) == pytest.approx(front_end.bandwidth_hz(), rel=0.005)
    for hz in (180.0, 600.0, 1000.0, 5000 / 3):
        assert gain(hz) == pytest.approx(-front_end.loss_db(hz), abs=0.02)
    for cfc in (60, 180, 600, 1000):
        for times, most_db in CORRIDOR_DB:
            assert -gain(times * cfc) <= most_db - class_loss_db(times)


@needs_ngspice
@pytest.mark.parametrize("signs", list(itertools.product((-1, 1), repeat=3)))
def test_the_classes_hold_with_parts_at_the_ends_of_their_tolerance(tmp_path, signs):
    netlist, changed = the_netlist(), []
    for names, sign in zip((("C108",), ("C109",), ("R113", "R114")), signs, strict=True):
        for name in names:
            tolerance = float(netlist.parts[name].tolerance.split()[0]) / 100
            changed.append((name, netlist.number(name) * (1 + sign * tolerance)))
    gain = gain_db(tmp_path, changed=tuple(changed))
    for cfc in (60, 180, 600, 1000):
        for times, most_db in CORRIDOR_DB:
            assert -gain(times * cfc) <= most_db - class_loss_db(times)
    low_hz, high_hz = said(r"(\d+) to (\d+) Hz \(own simulation\)")
    assert low_hz - 2 < corner_hz(gain) < high_hz + 2


@needs_ngspice
def test_what_would_fold_is_kept_out(tmp_path):
    gain = gain_db(tmp_path)
    assert -gain(front_end.HALF_SAMPLE_HZ) == pytest.approx(reckoned.out_samples(), abs=1.0)
    # The filter's op-amp lets more through than its closed form; the deck has its 150 ohm.
    assert -gain(front_end.HALF_CONVERSION_HZ) == pytest.approx(
        said(r"(\d+) dB down \(own simulation\)")[0], abs=1
    )
    assert -gain(front_end.HALF_CONVERSION_HZ) < reckoned.out_conversions()


@needs_ngspice
def test_a_step_overshoots_as_a_second_order_filter(tmp_path):
    _, data = ngspice(tmp_path, Bench(step_n=1800.0), "tran 2u 6m", "wrdata data.txt v(n_force)")
    time_s, read_v = data
    before, after = read_v[time_s < 0.9e-3].mean(), read_v[time_s > 5e-3].mean()
    over = (read_v.max() - after) / (after - before)
    assert over == pytest.approx(front_end.overshoot(), abs=0.004)
    assert 100 * over == pytest.approx(said(r"([\d.]+) % \(own simulation\), filter")[0], abs=0.1)
    settled = time_s[np.abs(read_v - after) > 0.01 * (after - before)].max() - 1e-3
    assert settled < 0.6e-3


@needs_ngspice
@pytest.mark.parametrize("force_n", [-600.0, -300.0, 0.0, 245.0, 1800.0, 1980.0, 3532.0])
def test_levels_are_those_of_the_sheet(tmp_path, force_n):
    kept = 1 - figures.cable_share() / 100 - figures.load_share() / 100
    expected_v = figures.LEVEL_V + force_n * kept * figures.volt_newton() / 1e3
    assert level_v(tmp_path, force_n=force_n) == pytest.approx(expected_v, abs=0.003)


@needs_ngspice
def test_the_converter_clips_before_any_amplifier(tmp_path):
    top_v, low_v = level_v(tmp_path, force_n=5000.0), level_v(tmp_path, force_n=-3000.0)
    assert top_v == pytest.approx(said(r"any amplifier's end, ([\d.]+) V")[0], abs=0.01)
    assert top_v > 3.0 + 0.15
    assert figures.LOW_V - 0.01 < low_v < figures.LOW_V
    at_full_scale = level_v(tmp_path, "v(n_stage2)", force_n=figures.force_top())
    assert at_full_scale < 3.1
    # The first stage is nowhere near its ends there.
    assert 0.3 < level_v(tmp_path, "v(n_stage1)", force_n=5000.0) < 2.0


@needs_ngspice
@pytest.mark.parametrize(("board_v", "chip_na"), [(3.3, 10), (0.0, 100)])
def test_five_volts_go_through_the_schottky_pair(tmp_path, board_v, chip_na):
    bench = {"fault_v": 5.0, "board_v": board_v}
    reckoned_ma = reckoned.fault_current() if board_v else reckoned.fault_current_off()
    assert 1e3 * level_v(tmp_path, "i(vd101)", **bench) == pytest.approx(reckoned_ma, rel=0.02)
    assert 1e9 * level_v(tmp_path, "i(vchip)", **bench) < chip_na
    pin_v = level_v(tmp_path, **bench)
    assert pin_v < board_v + 0.5  # the chip's limit, from memory of its data sheet
    if board_v:
        assert pin_v == pytest.approx(said(r"the pin stands at ([\d.]+) V")[0], abs=0.01)


def said(pattern):
    """The numbers that the sheet says, where it says so."""
    found = re.search(pattern, SHEET)
    assert found, pattern
    return [float(one) for one in found.groups()]


def is_refused(read_v):
    """As the board does by its config.py, and the laptop by the sheet's campaign.toml."""
    code = read_v / STEP_V
    rest = AtRest("", CHAIN, config.REDUCTION, read_v, 1e-3, CHAIN.zero_v)
    by_laptop = any(finding.refuses for finding in rest.level())
    return by_laptop or not config.LEVEL_LOWEST <= code <= config.LEVEL_HIGHEST


def test_a_level_at_rest_is_not_refused():
    assert not is_refused(figures.LEVEL_V)


@pytest.mark.parametrize(
    ("pull_ohm", "shift_v"),
    [
        (figures.pull_ohm(figures.high_gain(), 1000.0), figures.shift_level()),
        (figures.pull_ohm(figures.high_gain(), 350.0), figures.high_wrong()),
    ],
)
def test_a_bridge_of_another_resistance_is_bent_as_the_rule_says(pull_ohm, shift_v):
    """Kirchhoff's equations of both signal nodes, four arms of 1000 ohm and the two resistors."""
    arm, pull = 1 / 1000.0, 1 / pull_ohm
    plus_v = 3.0 * arm / (2 * arm + pull)  # R106 to ground
    minus_v = 3.0 * (arm + pull) / (2 * arm + pull)  # R105 to the excitation
    assert (minus_v - plus_v) * figures.high_gain() == pytest.approx(shift_v, rel=0.01)


def stated_v(text):
    return float(re.search(r"([\d.]+) V", text)[1])


@needs_ngspice
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_open_wires_are_refused(tmp_path, count):
    for wires in itertools.combinations(CABLE, count):
        assert is_refused(level_v(tmp_path, opened=wires)), wires


@needs_ngspice
@pytest.mark.parametrize("wire", CABLE)
def test_the_netlist_states_what_an_open_wire_reads(tmp_path, wire):
    net = the_netlist().nets["AGND" if wire == "EXC-" else wire]
    assert level_v(tmp_path, opened=(wire,)) == pytest.approx(stated_v(net.opened), abs=0.01)


@needs_ngspice
@pytest.mark.parametrize("pair", PAIRS)
def test_the_netlist_states_what_touching_wires_read(tmp_path, pair):
    read_v = level_v(tmp_path, shorted=(pair,))
    one, other = pair
    text = the_netlist().nets["AGND" if one == "EXC-" else one].shorted
    if pair == ("EXC+", "EXC-"):
        assert level_v(tmp_path, "v(n_excp)", shorted=(pair,)) == pytest.approx(0.07, abs=0.01)
        return  # the reference is gone: what the converter then says is not known
    said = text[text.index(f"to {other}") :]
    assert read_v == pytest.approx(stated_v(said), abs=0.01)
    assert is_refused(read_v)


@needs_ngspice
@pytest.mark.parametrize("wire", ["SIG+", "SIG-"])
def test_the_netlist_states_what_a_wire_at_the_shield_reads(tmp_path, wire):
    """The shield is at ground in the box; it touches at the cell's end."""
    text = the_netlist().nets["SHIELD"].shorted
    read_v = level_v(tmp_path, shorted=(("EXC-", wire),))
    assert read_v == pytest.approx(stated_v(text[text.index(f"to {wire}") :]), abs=0.01)


@needs_ngspice
def test_a_cell_with_a_bad_zero_does_not_hide_touching_wires(tmp_path):
    """With signal wires touching, what the trimmer took of the cell's own zero comes back."""
    for own_n in (-noise.offset_cell(), noise.offset_cell()):
        off_v = own_n * figures.volt_newton() / 1e3
        trimmed = figures.LEVEL_V - off_v
        shorted_v = level_v(tmp_path, shorted=(("SIG+", "SIG-"),), zero_v=trimmed)
        assert is_refused(shorted_v)


@needs_ngspice
def test_the_shunt_steps_up_by_what_the_tool_expects(tmp_path):
    step_v = level_v(tmp_path, shunt=True) - level_v(tmp_path)
    assert step_v == pytest.approx(noise.shunt_volt(), rel=0.01)  # the cable takes 0.35 %
    touching = {"shorted": (("SIG+", "SIG-"),)}
    assert abs(level_v(tmp_path, shunt=True, **touching) - level_v(tmp_path, **touching)) < 0.02


@needs_ngspice
def test_three_resistors_stand_for_a_cell(tmp_path):
    """The check at the bench: 1 kohm, 1 ohm, 1 kohm in place of the bridge; 1 ohm bridged."""
    levels = []
    for ohm in (noise.BENCH_OHM, 1e-6):
        text = spice.run_text(Bench(), ["op", "print v(n_force)"])
        text = re.sub(r"^(Rarm1|Rarm4) (\S+ \S+) .*$", r"\1 \2 1000", text, flags=re.MULTILINE)
        text = re.sub(r"^Rarm2 .*$", f"Rarm2 sig_p cell_sigm {ohm}", text, flags=re.MULTILINE)
        text = re.sub(r"^Rarm3 .*$", "Rarm3 sig_p cell_sigm 1e12", text, flags=re.MULTILINE)
        (tmp_path / "deck.cir").write_text(text, encoding="utf-8")
        run = [NGSPICE, "-b", tmp_path / "deck.cir"]
        out = subprocess.run(run, capture_output=True, text=True, timeout=60).stdout
        levels.append(float(re.search(r"^v\(n_force\) = (\S+)$", out, re.MULTILINE)[1]))
    assert levels[0] - levels[1] == pytest.approx(noise.bench_step(), rel=0.005)
    assert levels[1] == pytest.approx(figures.LEVEL_V + figures.shift_level(), abs=0.005)


def test_a_pulse_keeps_its_peak():
    """A half-sine of 62 ms through every pole, by scipy."""
    length_s, time_s = 0.062, np.linspace(0, 0.07, 140_001)
    pulse = np.where(time_s < length_s, np.sin(math.pi * time_s / length_s), 0.0)
    w0 = 2 * math.pi * front_end.filter_hz()
    system = ([w0**2], [1, w0 / front_end.filter_q(), w0**2])
    corners_hz = (front_end.input_hz(), front_end.FIRST_STAGE_HZ, front_end.converter_hz())
    for corner_hz in corners_hz:
        w = 2 * math.pi * corner_hz
        system = (np.polymul(system[0], [w]), np.polymul(system[1], [1, w]))
    _, out, _ = signal.lsim(system, pulse, time_s)
    assert out.max() == pytest.approx(1.0, abs=1e-4)


def test_the_table_of_wire_gauges_agrees_with_the_resistivity():
    """Ohm per kilometre and diameter in mm, as a public table gives them (sources.md, S407)."""
    for diameter_mm, ohm_per_km in ((0.8128, 33.29), (0.5105, 84.20), (0.4039, 133.86)):
        area_m2 = math.pi / 4 * (1e-3 * diameter_mm) ** 2
        assert 1e3 * figures.COPPER_OHM_M / area_m2 == pytest.approx(ohm_per_km, rel=0.01)


def test_bridge_resistances_are_those_of_four_arms():
    """Between two corners of a square of resistors, from its Laplacian (graph theory)."""
    laplacian = np.array([[2, -1, 0, -1], [-1, 2, -1, 0], [0, -1, 2, -1], [-1, 0, -1, 2]])
    inverse = np.linalg.pinv(laplacian / spice.BRIDGE_OHM)

    def between(a, b):
        return inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]

    assert between(0, 1) == pytest.approx(figures.neighbours())
    assert between(0, 2) == pytest.approx(figures.across())


@needs_ngspice
def test_a_dead_reference_is_not_told_by_the_level(tmp_path):
    """The board's 200 ohm carry bridge and reference alike, so that the ratio stays."""
    dead = {"system_v": 0.0}
    reference_v = level_v(tmp_path, "v(n_excp)", **dead)
    assert reference_v == pytest.approx(said(r"TP101 falls to ([\d.]+) V")[0], abs=0.02)
    for force_n in (0.0, 1800.0):
        share = level_v(tmp_path, force_n=force_n, **dead) / reference_v
        assert share == pytest.approx(level_v(tmp_path, force_n=force_n) / 3.0, rel=0.01)


@needs_ngspice
def test_a_reference_feeds_a_board_that_is_switched_off(tmp_path):
    """With 3V3_EN low: what goes through the board's 200 ohm."""
    fed_a = -level_v(tmp_path, "i(vboard)", board_v=0.0)
    assert -1e3 * fed_a == pytest.approx(reckoned.fed_back(), rel=0.02)


def test_the_second_order_form_is_the_one_of_scipy():
    w0 = 2 * math.pi * front_end.filter_hz()
    hz = np.geomspace(10, 1e5, 60)
    _, wanted = signal.freqs([w0**2], [1, w0 / front_end.filter_q(), w0**2], 2 * math.pi * hz)
    np.testing.assert_allclose(front_end.second_order(hz), wanted, rtol=1e-12)
    time_s, step = signal.step(
        ([w0**2], [1, w0 / front_end.filter_q(), w0**2]), T=np.linspace(0, 5e-3, 50_001)
    )
    assert step.max() - 1 == pytest.approx(front_end.overshoot(), abs=1e-5)
    assert time_s[-1] == 5e-3


def test_noise_bandwidth_of_one_pole_is_its_known_multiple(monkeypatch):
    """Pi / 2 x the corner (closed form)."""
    monkeypatch.setattr(front_end, "response", lambda f: front_end.pole(f, 1000.0))
    assert front_end.noise_bandwidth_hz() == pytest.approx(math.pi / 2 * 1000, rel=0.001)


# Deck, netlist, picture


def test_the_deck_holds_each_part_of_the_sheet_once():
    outside = re.sub(r"^\.subckt.*?^\.ends", "", spice.deck(), flags=re.MULTILINE | re.DOTALL)
    names = [line.split()[0] for line in outside.splitlines() if re.match(r"[A-Za-z]", line)]
    assert len(names) == len(set(names))
    told = re.findall(r"^\* (\w+): ", outside, re.MULTILINE)
    for part in the_netlist().on_sheet("analogue"):
        wanted = {
            "quad op-amp": [f"X{part.name}{one}" for one in "ABCD"],
            "Schottky pair": [f"{part.name}a", f"{part.name}b"],
            "MOSFET": [f"S{part.name}"],
            "instrumentation amplifier": [f"X{part.name}"],
            "voltage reference": [f"X{part.name}"],
            "link": [f"R{part.name}"],
            "load cell": ["Rarm1", "Rarm2", "Rarm3", "Rarm4"],
        }.get(part.kind, [part.name])
        assert set(wanted) <= set(names) or part.name in told, part.name


def with_value(text):
    """A netlist of one part."""
    return Netlist({"R1": Part("R1", "resistor", "analogue", ("1", "2"), text)}, {}, {})


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("4.3 kohm", 4300.0), ("10 nF", 1e-8), ("1.2 Mohm", 1.2e6), ("3.0 V, series", 3.0)],
)
def test_values_are_read(text, wanted):
    assert with_value(text).number("R1") == pytest.approx(wanted)


@pytest.mark.parametrize("text", ["", "4k3", "4.3", "ohm", "4.3 kOhm", "4.3 k ohm"])
def test_what_is_no_value_is_told(text):
    with pytest.raises(NetlistError, match="no number and unit"):
        with_value(text).number("R1")


@pytest.mark.parametrize("zero_v", [0.0, 0.2, 0.9, 1.6, -1.0])
def test_a_level_that_the_trimmer_cannot_set_is_told(zero_v):
    with pytest.raises(ValueError, match="R110"):
        spice.deck(Bench(zero_v=zero_v))


def test_the_picture_is_the_same_each_time():
    first = front_end.picture()
    assert first == front_end.picture()
    texts = [e.text for e in ET.fromstring(first).iter() if e.tag.endswith("text") and e.text]
    assert "this front end" in texts
    assert not re.search(r"\d{4}-\d\d-\d\d", first)
