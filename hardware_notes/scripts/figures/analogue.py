"""Figures of 2_analogue.md: cell, bridge, excitation, gain and level. Closed forms."""

from __future__ import annotations

import math

import spice
from front_end import ohm
from netlist import the_netlist

from figures import figure
from tautlog.model.limits import HEADROOM

# Worked example: inputs. They stand in the sheet too.
RATED_N, SENSITIVITY_MV_PER_V, EXCITATION_V = 5000.0, 2.0, 3.0
TARGET_N, LIMIT_N = 1800.0, 1980.0
UPPER_N = 2355.0  # upper end of the prediction, `tautlog plan`; a test asks it
LEVEL_V, LOW_V, HIGH_V = 0.50, 0.06, 2.99  # without force; amplifier's low end; last code
WEIGHTS_N = 245.0  # 25 kg
STEP_V = EXCITATION_V / 4096
DEFLECTION_M, FITTINGS_KG = 0.1e-3, 0.4  # of the cell at its rated load; what hangs on it
CABLE_M, CABLE_MM2 = 5.0, 0.14
COPPER_OHM_M, COPPER_PER_K = 1.7241e-8, 3.93e-3  # IACS, 20 C


def share(rest: float, part: float) -> float:
    """Part of the whole, in per cent, where the rest is given, too."""
    return 100 * part / (rest + part)


# The cell


@figure("%", ".0f")
def used() -> float:
    """Upper end of the prediction over the rated load."""
    return 100 * UPPER_N / RATED_N


@figure("N", ".0f")
def wanted_range() -> float:
    """Headroom times the upper end of the prediction."""
    return HEADROOM * UPPER_N


@figure("MN/m", ".0f")
def cell_stiffness() -> float:
    """Rated load over deflection."""
    return RATED_N / DEFLECTION_M / 1e6


@figure("Hz", ".0f")
def natural() -> float:
    """sqrt(k / m) / 2 pi with what hangs on the cell."""
    return math.sqrt(RATED_N / DEFLECTION_M / FITTINGS_KG) / (2 * math.pi)


# The bridge


@figure("ohm", ".1f")
def neighbours() -> float:
    """One arm parallel to the three others."""
    arm = spice.BRIDGE_OHM
    return arm * 3 * arm / (4 * arm)


@figure("ohm", ".0f")
def across() -> float:
    """Two arms parallel to the two others."""
    return spice.BRIDGE_OHM


@figure("mV", ".0f")
def signal_rated() -> float:
    """Sensitivity times excitation."""
    return SENSITIVITY_MV_PER_V * EXCITATION_V


def volt_per_n() -> float:
    """Bridge output of one newton, V."""
    return 1e-3 * signal_rated() / RATED_N


@figure("uV", ".1f")
def signal_newton() -> float:
    """Bridge output of one newton."""
    return 1e6 * volt_per_n()


@figure("mV", ".2f")
def signal_target() -> float:
    """Bridge output at the target."""
    return 1e3 * volt_per_n() * TARGET_N


@figure("V", ".1f")
def middle() -> float:
    """Half of the excitation."""
    return EXCITATION_V / 2


# Excitation and cable


@figure("mA", ".1f")
def bridge_current() -> float:
    """Excitation over the bridge."""
    return 1e3 * EXCITATION_V / spice.BRIDGE_OHM


@figure("mA", ".1f")
def fed_current() -> float:
    """What the board's 200 ohm feed from 3.3 V."""
    return 1e3 * (3.3 - EXCITATION_V) / 200


@figure("mA", ".1f")
def load_current() -> float:
    """What R102 takes."""
    return 1e3 * EXCITATION_V / ohm("R102")


@figure("mA", ".1f")
def reference_current() -> float:
    """Bridge and R102, less what the board feeds."""
    return bridge_current() + load_current() - fed_current()


@figure("ohm/m", ".3f")
def wire_ohm() -> float:
    """Copper of 0.14 mm2."""
    return COPPER_OHM_M / (CABLE_MM2 * 1e-6)


@figure("%", ".2f")
def cable_share() -> float:
    """Both excitation wires over bridge and wires."""
    return share(spice.BRIDGE_OHM, 2 * CABLE_M * wire_ohm())


@figure("%", ".3f")
def cable_drift() -> float:
    """What of it changes with 10 K."""
    return cable_share() * COPPER_PER_K * 10


# Amplifier


def load_share() -> float:
    """What R107, R108 and R105, R106 take from half the bridge."""
    half = spice.BRIDGE_OHM / 2
    return 100 * (half / ohm("R107") + half / ohm("R105"))


@figure("", ".1f")
def second_gain() -> float:
    """1 + R111 / R112."""
    return 1 + ohm("R111") / ohm("R112")


@figure("", ".0f")
def gain() -> float:
    """Both stages and the converter's load."""
    return spice.gain_of(the_netlist())


@figure("", ".0f")
def most_gain() -> float:
    """Largest gain that leaves the headroom; as planning/electronics_advice.py."""
    return (HIGH_V - LEVEL_V) / (volt_per_n() * wanted_range())


@figure("mV", ".2f")
def volt_newton() -> float:
    """One newton at the converter."""
    return 1e3 * volt_per_n() * spice.gain_of(the_netlist())


@figure("N", ".2f")
def newton_step() -> float:
    """Force of one step of the converter."""
    return 1e3 * STEP_V / volt_newton()


@figure("", ".0f")
def newton_per_volt() -> float:
    """For campaign.toml, from the cell's data sheet."""
    return 1e3 / volt_newton()


def level(force_n: float) -> float:
    """Level at the converter, V."""
    return LEVEL_V + force_n * volt_newton() / 1e3


@figure("V", ".2f")
def level_target() -> float:
    """Level at the target."""
    return level(TARGET_N)


@figure("V", ".2f")
def level_limit() -> float:
    """Level at the limit."""
    return level(LIMIT_N)


@figure("N", ".0f")
def force_top() -> float:
    """Force at the converter's last code."""
    return (HIGH_V - LEVEL_V) / volt_newton() * 1e3


@figure("N", ".0f")
def force_low() -> float:
    """Push at which the amplifier ends."""
    return (LEVEL_V - LOW_V) / volt_newton() * 1e3


@figure("N", ".0f")
def force_lowest() -> float:
    """The same as a force, positive in tension."""
    return -force_low()


@figure("", ".0f")
def zero_code() -> float:
    """Code without force."""
    return LEVEL_V / STEP_V


@figure("", ".0f")
def weights_code() -> float:
    """Code with the heaviest weight."""
    return level(WEIGHTS_N) / STEP_V


@figure("V", ".3f")
def wide_low() -> float:
    """Voltage of code 512."""
    return 512 * STEP_V


@figure("V", ".3f")
def wide_next() -> float:
    """Voltage of code 1536."""
    return 1536 * STEP_V


@figure("V", ".2f")
def zero_most() -> float:
    """Highest level without force that leaves the headroom."""
    return HIGH_V - wanted_range() * volt_newton() / 1e3


@figure("V", ".2f")
def inner_node() -> float:
    """Higher inner node at the wanted range, gain 100: middle + 0.8 V + G Vd / 2."""
    return middle() + 0.8 + 100 * volt_per_n() * wanted_range() / 2


@figure("V", ".2f")
def inner_node_alone() -> float:
    """The same, were the whole gain in the first stage."""
    return middle() + 0.8 + gain() * volt_per_n() * wanted_range() / 2


# Level, open wires


@figure("mV", ".2f")
def shift() -> float:
    """What R105 and R106 take off the bridge's output."""
    return 1e3 * spice.pulled_v(the_netlist())


@figure("N", ".0f")
def shift_force() -> float:
    """The same as a force."""
    return spice.pulled_v(the_netlist()) / volt_per_n()


@figure("V", ".2f")
def shift_level() -> float:
    """The same at the converter."""
    return spice.pulled_v(the_netlist()) * gain()


@figure("V", ".3f")
def refused_off() -> float:
    """5 % of the span between the rails: board/at_rest.py refuses beyond."""
    return 0.05 * (HIGH_V - LOW_V)


@figure("N", ".0f")
def zero_hidden() -> float:
    """The cell's own zero, toward tension, from which on touching signal wires are not refused."""
    return (shift_level() - 0.05 * (HIGH_V - LOW_V)) / volt_newton() * 1e3


@figure("%", ".0f")
def weights_reach() -> float:
    """The heaviest weight over the rated load."""
    return 100 * WEIGHTS_N / RATED_N


def _zero(trimmer_ohm: float) -> float:
    lower = ohm("R109") + trimmer_ohm
    return middle() * lower / (ohm("R107") / 2 + lower)


@figure("V", ".2f")
def zero_low() -> float:
    """Trimmer at one end."""
    return _zero(0.0)


@figure("V", ".2f")
def zero_high() -> float:
    """Trimmer at the other end."""
    return _zero(ohm("R110"))


@figure("V", ".2f")
def zero_set() -> float:
    """TP102 where cell and chips have no offset."""
    return _zero(spice.trimmer_ohm(the_netlist(), LEVEL_V))


@figure("N", ".0f")
def reach_up() -> float:
    """Offset in tension that the trimmer takes away."""
    return (zero_set() - zero_low()) * 1e3 / volt_newton()


@figure("N", ".0f")
def reach_down() -> float:
    """Offset the other way that it takes away."""
    return (zero_high() - zero_set()) * 1e3 / volt_newton()


@figure("ms", ".0f")
def middle_time() -> float:
    """C106 times what it sees."""
    lower = ohm("R109") + spice.trimmer_ohm(the_netlist(), LEVEL_V)
    source = ohm("R107") / 2
    return 1e3 * ohm("C106") * source * lower / (source + lower)


# Another cell, by the same rules

OTHER_RATED_N, OTHER_MV_PER_V, OTHER_UPPER_N, OTHER_R111_OHM = 2000.0, 1.0, 1100.0, 82e3


def _other_volt_per_n() -> float:
    return 1e-3 * OTHER_MV_PER_V * EXCITATION_V / OTHER_RATED_N


def _first_gain() -> float:
    return spice.gain_of(the_netlist()) / second_gain()


@figure("", ".0f")
def other_most() -> float:
    """Largest gain for the other cell."""
    return (HIGH_V - LEVEL_V) / (_other_volt_per_n() * HEADROOM * OTHER_UPPER_N)


@figure("kohm", ".1f")
def other_feedback() -> float:
    """R111 for that gain."""
    return ohm("R112") * (other_most() / _first_gain() - 1) / 1e3


@figure("", ".0f")
def other_gain() -> float:
    """Gain with the next lower value of R111."""
    return _first_gain() * (1 + OTHER_R111_OHM / ohm("R112"))


def pull_ohm(other: float, bridge_ohm: float) -> float:
    """R105 and R106 that shift the level as much as here, for a gain and a bridge."""
    return ohm("R105") * other / gain() * bridge_ohm / spice.BRIDGE_OHM


@figure("Mohm", ".1f")
def other_pull() -> float:
    """The same for the other cell; its bridge has 350 ohm."""
    return pull_ohm(other_gain(), spice.BRIDGE_OHM) / 1e6


# A third one, whose bridge has another resistance: 2 kN, 3 mV/V, 1000 ohm, F = 785 N

HIGH_BRIDGE_OHM, HIGH_R111_OHM = 1000.0, 36e3


@figure("", ".0f")
def high_gain() -> float:
    """Gain with the next lower value of R111."""
    return _first_gain() * (1 + HIGH_R111_OHM / ohm("R112"))


@figure("Mohm", ".1f")
def high_pull() -> float:
    """R105 and R106 for it."""
    return pull_ohm(high_gain(), HIGH_BRIDGE_OHM) / 1e6


@figure("V", ".2f")
def high_wrong() -> float:
    """What the level would shift by, were the bridge forgotten."""
    forgotten = pull_ohm(high_gain(), spice.BRIDGE_OHM)
    return high_gain() * (EXCITATION_V / forgotten) * HIGH_BRIDGE_OHM / 2


@figure("", ".2f")
def upper_share() -> float:
    """Upper end of the prediction over the target."""
    return UPPER_N / TARGET_N


@figure("N", ".2f")
def other_step() -> float:
    """Force of one step of the converter."""
    return STEP_V / (_other_volt_per_n() * other_gain())
