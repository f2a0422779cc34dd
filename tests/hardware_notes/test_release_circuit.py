"""The release's figures against general tools: the coil's circuit in ngspice, the rest in scipy.

The deck takes its values from the netlist. Semiconductors are plain models with the ratings of the
parts list; what is asserted is that nothing is driven beyond those.
"""

import re
import shutil
import subprocess

import pytest
from figures import inputs, release
from netlist import the_netlist
from scipy.integrate import solve_ivp

import config

THE = the_netlist()

# Rated in the parts list.
GATE_V, DRAIN_V = 20.0, 60.0
# A phototransistor breaks down backwards above some 6 V, rated at 0.1 mA; a light stands some 5 V.
# Both from memory of the kinds.
OPTO_BREAKS_V, OPTO_REVERSE_A, LIGHT_REVERSE_V = 6.0, 1e-4, 5.0

DECK = """chain, driver and coil
VB bat 0 {battery}
RF bat c1 {loop}
VC cc 0 PWL(0 1 {opens} 1 {opens_after} 0)
SC c1 ce cc 0 CONTACT
.model CONTACT SW(VT=0.5 RON=0.05 ROFF=100meg)
L1 ce n1 {henry}
RL n1 low {ohm}
D304 mid low ZENER
D303 mid ce RECT
{d305}
R323 gs l1 {r323}
R324 gs 0 {r324}
D322 l1 0 LIGHT
VE en 0 PWL({enable})
VP pu 0 PWL({pulse})
BE gs b1 I = 46u * V(en) * min(max(V(gs, b1), 0) / 0.5, 1)
BP gs b2 I = 46u * V(pu) * min(max(V(gs, b2), 0) / 0.5, 1)
Q1 gs b1 e1 PHOTO
Q2 gs b2 e2 PHOTO
{d307}
{d306}
BB1 e1 gs I = max(V(e1, gs) - {breaks}, 0) / 100
BB2 e2 gs I = max(V(e2, gs) - {breaks}, 0) / 100
R321 g1 0 {r321}
R322 g2 s2 {r322}
M302 {low} g2 s2 s2 POWER W=1 L=1
DB2 s2 {low} RECT
M301 s2 g1 0 0 POWER W=1 L=1
DB1 0 s2 RECT
C1 g1 0 1n
C2 g2 s2 1n
.model POWER NMOS(VTO=3 KP=10 RD=0.02)
.model PHOTO NPN(BF=100)
.model RECT D(IS=1e-9 RS=0.05 BV=100)
.model LIGHT D(IS=1e-18 N=1.8 RS=5 BV=1000)
.model ZENER D(IS=1e-12 RS=0.2 BV={zener})
.tran 50u 0.2 0 50u UIC
.control
run
meas tran current_most max i(L1)
meas tran current_late find i(L1) at={late}
meas tran drain_most max v(low)
meas tran gate1_least min v(g1)
meas tran gate1_most max v(g1)
let vgs2 = v(g2) - v(s2)
meas tran gate2_least min vgs2
meas tran gate2_most max vgs2
let back1 = (v(e1) - v(gs) - {breaks}) / 100
let back2 = (v(e2) - v(gs) - {breaks}) / 100
meas tran back1_most max back1
meas tran back2_most max back2
let light_back = 0 - v(l1)
meas tran light_most max light_back
.endc
.end
"""


def simulate(
    tmp_path,
    *,
    opens=1.0,
    late=0.15,
    enable="0 1",
    pulse="",
    battery=12.0,
    short="",
    without=(),
    loop=0.1,
):
    """Run the coil's circuit; a pulse of 100 ms from 10 ms on; what was measured, by name."""
    ngspice = shutil.which("ngspice")
    if not ngspice:
        pytest.skip("no ngspice here: Debian's package of that name brings it")
    text = DECK.format(
        battery=battery,
        loop=loop,
        breaks=OPTO_BREAKS_V,
        opens=opens,
        opens_after=opens + 1e-4,
        henry=release.COIL_H,
        ohm=release.COIL_OHM,
        zener=THE.number("D304"),
        **{
            name.lower(): f"{name} {nodes} RECT" if name not in without else f"R{name} {nodes} 1m"
            for name, nodes in DIODES.items()
        },
        r321=THE.number("R321"),
        r322=THE.number("R322"),
        r323=THE.number("R323"),
        r324=THE.number("R324"),
        enable=enable,
        pulse=pulse or "0 0 10m 0 10.1m 1 110m 1 110.1m 0",
        late=late,
        low="low",
    )
    if short:
        text = text.replace(f"\n{short}", f"\n{short}off").replace(
            ".model POWER", f"{SHORTS[short]}\n.model POWER"
        )
        text = re.sub(rf"\n{short}off.*", "", text)
    path = tmp_path / "chain.cir"
    path.write_text(text)
    done = subprocess.run([ngspice, "-b", str(path)], capture_output=True, text=True, timeout=60)
    found = {
        name: float(value)
        for name, value in re.findall(r"^(\w+)\s+=\s+(-?[\d.]+e[+-]\d+)", done.stdout, re.MULTILINE)
    }
    assert "light_most" in found, done.stdout + done.stderr
    return found


DIODES = {"D305": "ce gs", "D306": "e2 g2", "D307": "e1 g1"}
SHORTS = {"M301": "RSHORT s2 0 1m", "M302": "RSHORT low s2 1m"}


def assert_within_ratings(found):
    assert found["drain_most"] < DRAIN_V
    for name in ("gate1_least", "gate2_least", "gate1_most", "gate2_most"):
        assert abs(found[name]) < GATE_V
    for name in ("back1_most", "back2_most"):
        assert found[name] < OPTO_REVERSE_A
    assert found["light_most"] < LIGHT_REVERSE_V


def test_a_pulse_drives_the_coil_and_ends_as_the_sheet_says(tmp_path):
    tenth = release.coil_current() / 10
    before = simulate(tmp_path, late=0.1101 + 0.9e-3 * release.drops_zener())
    after = simulate(tmp_path, late=0.1101 + 1.1e-3 * release.drops_zener())
    assert before["current_most"] == pytest.approx(release.coil_current(), rel=0.05)
    assert before["current_late"] > tenth * 0.9
    assert after["current_late"] < tenth * 1.1
    assert_within_ratings(after)


def test_the_chain_s_cable_must_be_thick_enough(tmp_path):
    """A tired battery: with the loop that the sheet allows the coil pulls, with thin wire not."""
    within = simulate(tmp_path, battery=release.FLAT_V, loop=release.LOOP_OHM)
    thin = simulate(tmp_path, battery=release.FLAT_V, loop=release.loop_thin())
    assert thin["current_most"] < release.pull_current() < within["current_most"]
    assert within["current_most"] == pytest.approx(release.loop_current(), rel=0.05)


def test_a_contact_that_opens_in_the_pulse_ends_the_pull_as_soon(tmp_path):
    found = simulate(tmp_path, opens=0.08, late=0.0801 + 1.2e-3 * release.drops_zener())
    assert found["current_most"] > 1.9
    assert found["current_late"] < release.coil_current() / 10
    assert_within_ratings(found)


def test_without_their_diodes_light_and_opto_coupler_would_be_driven_backwards(tmp_path):
    found = simulate(tmp_path, opens=0.08, without=("D305",))
    assert found["light_most"] > LIGHT_REVERSE_V
    found = simulate(tmp_path, enable="0 1 80m 1 80.1m 0", without=("D306",))
    assert found["back2_most"] > OPTO_REVERSE_A


def test_a_heartbeat_that_ends_in_the_pulse_ends_the_pull_as_soon(tmp_path):
    late = 0.0801 + 1.2e-3 * release.drops_zener()
    found = simulate(tmp_path, enable="0 1 80m 1 80.1m 0", late=late)
    assert found["current_most"] > 1.9
    assert found["current_late"] < release.coil_current() / 10
    assert_within_ratings(found)


def test_a_charged_battery_stays_within_the_ratings(tmp_path):
    found = simulate(tmp_path, battery=release.FULL_V)
    assert found["drain_most"] == pytest.approx(release.drain(), rel=0.05)
    assert_within_ratings(found)


@pytest.mark.parametrize(
    "said",
    [
        {"enable": "0 0"},
        {"pulse": "0 0"},
        {"enable": "0 0", "short": "M302"},
        {"pulse": "0 0", "short": "M301"},
        {"opens": 0.001},
    ],
)
def test_one_of_the_two_alone_lets_no_current_into_the_coil(tmp_path, said):
    assert simulate(tmp_path, **said)["current_most"] < 0.02 * release.coil_current()


# Closed forms against integration


@pytest.mark.parametrize(
    ("against_v", "said_ms"),
    [
        (release.DIODE_V, release.drops_diode()),
        (release.DIODE_V + release.ZENER_V, release.drops_zener()),
    ],
)
def test_decay_of_the_coil_by_integration(against_v, said_ms):
    def slope(_, current):
        return -(release.COIL_OHM * current + against_v) / release.COIL_H

    def fallen(_, current):
        return current[0] - release.DROPPED * release.coil_current()

    fallen.terminal = True
    found = solve_ivp(slope, (0, 0.1), [release.coil_current()], events=fallen, rtol=1e-9)
    assert 1e3 * found.t_events[0][0] == pytest.approx(said_ms, rel=1e-6)


def pumped(periods):
    """Voltage of the enable's capacitor, charge by charge, period by period."""
    moved, held, down = THE.number("C311"), THE.number("C312"), THE.number("R312")
    level, seen = 0.0, []
    for _ in range(periods):
        level = max(level, level + (release.pump_open() - level) * moved / (moved + held))
        seen.append(level)
        level -= level / (down * held * release.BEAT_HZ)
    return seen


def test_charge_pump_charge_by_charge():
    seen = pumped(1000)
    assert seen[0] == pytest.approx(release.pump_one_edge())
    assert seen[1] == pytest.approx(release.pump_two_edges(), rel=0.01)
    assert seen[-1] == pytest.approx(release.pump_level(), rel=0.03)
    settled = next(n for n, level in enumerate(seen) if level > 0.99 * seen[-1])
    assert settled / release.BEAT_HZ * 1e3 == pytest.approx(release.pump_up(), rel=0.15)


def test_one_stray_edge_does_not_enable_and_the_wave_does():
    assert release.pump_one_edge() < release.GATE_OFF_V
    assert release.pump_level() > 2 * 1.1  # twice the highest threshold in the parts list


def test_the_one_shot_is_longer_than_the_firmware_s_pulse():
    assert release.one_shot_least() > config.RELEASE_PULSE_MS
    assert release.one_shot_most() < 1000  # a coil's pulse is bounded by a second: config_check.py


def test_pull_down_holds_the_drive_low_against_the_erratum_s_leak():
    assert release.leak() < release.LOW_V
    assert config.PIN_DRIVE == 12


def test_a_closed_contact_reads_low_and_an_open_one_high_in_time():
    assert inputs.closed_level() < inputs.LOW_V / 2
    assert inputs.loop_most() > 100
    sample_us = 1e6 * config.REDUCTION / config.CONVERSION_RATE_HZ
    assert inputs.delay() < sample_us
    assert inputs.late_least() * 1e3 > 100 * sample_us


def test_rise_of_an_input_by_integration():
    """100 nF at the chip's weakest pull-up, from ground to the threshold."""

    def slope(_, level):
        return (inputs.SUPPLY_V - level) / (inputs.PULL_MOST_OHM * inputs.ACROSS_F)

    def risen(_, level):
        return level[0] - inputs.HIGH_V

    risen.terminal = True
    found = solve_ivp(slope, (0, 1), [0.0], events=risen, rtol=1e-9)
    assert 1e3 * found.t_events[0][0] == pytest.approx(inputs.late_most(), rel=1e-6)
