"""What hands do at a rehearsed rig, and what it reads then; no board."""

import contextlib
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from tautlog.errors import CampaignError
from tautlog.firmware import wire
from tautlog.rehearsal.bench import HELP
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.hung import settling_n, shares_kg
from tautlog.rehearsal.rig import LINK_CUT, SimulatedRig
from tautlog.rehearsal.scene import default_scene
from tautlog.rehearsal.side_channels import with_legs
from tautlog.rehearsal.stand import DOWN, FALLEN, HANGS, RAISED

# Standard acceleration of free fall: 3rd CGPM (1901), CR 70; the value in CODATA and ISO 80000-3.
G_M_PER_S2 = 9.80665
STEP = 6250  # samples: a tenth of a second
ARMED = wire.OUTPUT_LAMP | wire.OUTPUT_BEAT


def rig(scene=None):
    return SimulatedRig(scene or default_scene(), seed=3)


def advance(one, seconds, outputs=0):
    steps = [one.advance(STEP, outputs) for _ in range(round(10 * seconds))]
    return np.concatenate([step.counts for step in steps]), steps[-1].inputs


def read_n(one, seconds=0.5):
    """Mean force that the cell reads; the converter's steps are equal."""
    chain = one.scene.chain
    counts, _ = advance(one, seconds)
    code = counts.mean() / 8.0
    return (code * chain.reference_v / 4096.0 - chain.zero_v) * chain.newton_per_volt


def even():
    """A scene with a converter of equal steps, so that a mean is a force."""
    scene = default_scene()
    return replace(scene, chain=replace(scene.chain, steps=None))


def told(one, *lines):
    for line in lines:
        answer = one.bench.do(line)
    return answer


def released(one, seconds=0.3):
    """Arm, drive, and let it fall."""
    counts, _ = advance(one, seconds, ARMED | wire.OUTPUT_DRIVE)
    return counts, one.advance(64, 0).inputs


def at_rest_after_a_drop(one):
    released(one)
    advance(one, 6.0)
    assert not one.stand.moving


@pytest.mark.parametrize("kg", [2.0, 5.0, 20.0, 50.0])
def test_a_weight_reads_m_g_once_it_is_still(kg):
    one = rig(even())
    slack_n = read_n(one)
    told(one, "lower", f"hang {kg}")
    advance(one, 4.0)
    # The mean of half a second: the noise of a conversion is 1.5 mV and 0.5 step, 250 000 of them.
    assert read_n(one) - slack_n == pytest.approx(kg * G_M_PER_S2, abs=0.15)
    told(one, "unhang")
    advance(one, 0.1)
    assert read_n(one) == pytest.approx(slack_n, abs=0.15)


def test_the_hanging_sled_reads_its_weight():
    one = rig(even())
    slack_n = read_n(one)
    told(one, "hang")
    advance(one, 2.0)
    assert read_n(one) - slack_n == pytest.approx(9.0 * G_M_PER_S2, abs=0.15)


def test_a_mass_that_is_let_go_settles_as_a_damped_spring():
    model = default_scene().model
    mass_kg, k, c = 20.0, model.stiffness_n_per_m, model.damping_ns_per_m
    time_s = np.linspace(0.0, 1.0, 400)
    start_m = 0.9 * mass_kg * G_M_PER_S2 / k
    solved = solve_ivp(
        lambda t, y: [y[1], G_M_PER_S2 - (k * y[0] + c * y[1]) / mass_kg],
        (0.0, 1.0),
        [start_m, 0.0],
        t_eval=time_s,
        rtol=1e-10,
        atol=1e-13,
    )
    line_n = k * solved.y[0] + c * solved.y[1]
    assert settling_n(model, mass_kg, time_s) == pytest.approx(line_n, abs=1e-5)


def test_its_swings_decrease_by_the_logarithmic_decrement():
    # S. S. Rao, Mechanical Vibrations, section 2.6.3: delta = 2 pi z / sqrt(1 - z**2).
    model = default_scene().model
    mass_kg = 20.0
    omega = math.sqrt(model.stiffness_n_per_m / mass_kg)
    ratio = model.damping_ns_per_m / (2.0 * mass_kg * omega)
    period_s = 2.0 * math.pi / (omega * math.sqrt(1.0 - ratio**2))
    off_n = settling_n(model, mass_kg, period_s * np.arange(5)) - mass_kg * G_M_PER_S2
    delta = 2.0 * math.pi * ratio / math.sqrt(1.0 - ratio**2)
    assert np.log(off_n[:-1] / off_n[1:]) == pytest.approx(delta, rel=1e-9)


def test_two_legs_share_the_hanging_sled_as_their_stiffness():
    scene = with_legs(default_scene(), share=0.7)
    shares = shares_kg(scene)
    assert sum(shares.values()) == pytest.approx(9.0)
    assert shares["force left"] == pytest.approx(6.3)
    longer = shares_kg(with_legs(default_scene(), longer_m=0.5))
    assert longer == pytest.approx({"force left": 9.0, "force right": 0.0})


def test_a_sled_that_hangs_cannot_fall():
    one = rig(even())
    told(one, "hang")
    advance(one, 2.0)
    hung_n = read_n(one)
    _, inputs = released(one)
    assert not inputs & wire.INPUT_LATCHED  # the empty latch opened
    assert one.motion is None
    assert one.stand.sled == HANGS
    assert read_n(one) == pytest.approx(hung_n, abs=0.15)


def test_a_second_drop_follows_once_the_sled_is_latched_again():
    one = rig()
    at_rest_after_a_drop(one)
    first = one.truth(0)["peak_force_n"]
    assert first == pytest.approx(1890.0, rel=1e-6)
    released(one)  # nothing is on the latch
    assert one.stand.sled == FALLEN
    told(one, "lower", "height 0.6", "latch")
    _, inputs = advance(one, 0.1)
    assert inputs & wire.INPUT_LATCHED
    assert one.truth(0)["release_time_s"] is None
    at_rest_after_a_drop(one)
    second = one.truth(0)
    # Free fall with friction of 4 % of the weight: v = sqrt(2 * 0.96 g h).
    assert second["taut_speed_m_s"] == pytest.approx(math.sqrt(2 * 0.96 * G_M_PER_S2 * 0.6))
    assert second["peak_force_n"] < 0.8 * first


def test_a_line_that_parted_is_whole_again_on_the_latch():
    one = rig()
    told(one, "fault article-parts")
    released(one)
    _, inputs = advance(one, 6.0)
    assert not inputs & wire.INPUT_ARTICLE_WHOLE
    with pytest.raises(CampaignError, match="parted"):
        told(one, "hang")
    told(one, "fault none", "latch")
    _, inputs = advance(one, 0.1)
    assert inputs & wire.INPUT_ARTICLE_WHOLE
    at_rest_after_a_drop(one)
    assert one.truth(0)["trace_says"] == "held"


def test_a_hand_pulls_the_pin_of_an_armed_rig_only():
    one = rig()
    with pytest.raises(CampaignError, match="not armed"):
        told(one, "hand")
    advance(one, 0.1, ARMED)
    told(one, "hand")
    _, inputs = advance(one, 0.1, ARMED)
    assert one.stand.sled == FALLEN
    assert not inputs & wire.INPUT_LATCHED
    with pytest.raises(CampaignError, match="not raised"):
        told(one, "hand")


def test_nobody_goes_to_an_armed_rig_or_under_a_raised_sled():
    one = rig()
    for line in ("hang 5", "mass 5", "height 1", "line 2e4"):
        with pytest.raises(CampaignError, match="`lower` it first"):
            told(one, line)
    with pytest.raises(CampaignError, match="lower"):
        told(one, "latch open")
    with pytest.raises(CampaignError, match="already"):
        told(one, "latch")
    advance(one, 0.1, ARMED)
    for line in ("lower", "hang", "hang 5", "unhang", "latch", "mass 5"):
        with pytest.raises(CampaignError, match="ARMED"):
            told(one, line)
    released(one)
    advance(one, 0.1)
    with pytest.raises(CampaignError, match="still moves"):
        told(one, "latch")


def test_weights_come_off_before_the_sled_is_raised():
    one = rig()
    told(one, "lower", "hang 5")
    for line in ("latch", "hang", "lower"):
        with pytest.raises(CampaignError, match="unhang"):
            told(one, line)
    told(one, "unhang", "latch")
    assert one.stand.sled == RAISED


@pytest.mark.parametrize("line", ["hang 600", "hang -1", "mass 0", "height 1200", "line 1"])
def test_absurd_figures_are_refused(line):
    one = rig()
    told(one, "lower")
    with pytest.raises(CampaignError, match="allowed is"):
        told(one, line)


@pytest.mark.parametrize("line", ["hang nan", "pull nan", "pull 1e9", "mass", "hang five"])
def test_what_is_no_figure_is_refused(line):
    one = rig()
    told(one, "lower")
    with pytest.raises(CampaignError):
        told(one, line)
    assert np.ptp(advance(one, 0.1)[0]) < 200


def test_every_fault_is_played_or_refused_with_a_reason():
    one = rig()
    played = set()
    for name in FAULTS:
        with contextlib.suppress(CampaignError):
            assert f"fault: {name}" in told(one, f"fault {name}")
            played.add(name)
    assert {"article-parts", "line-slips", "amplifier-clips", "parked-high", "mains-hum"} <= played
    assert {"cable-pulled", "shunt-dead", "latch-stuck", "glitch", "stop-touched"} <= played
    assert not played & {"leg-longer", "gate-open", "steps-unknown", "key-off", "other-chip"}
    assert "fault: none" in told(one, "fault none")


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("key-off", "say `key off`"),
        ("not-latched", "latch open"),
        ("gate-open", "say `open gate`"),
        ("leg-longer", "other channels"),
        ("steps-unknown", "the crew believes"),
        ("article-part", "did you mean 'article-parts'"),
    ],
)
def test_a_fault_that_cannot_be_thrown_in_says_why(name, reason):
    with pytest.raises(CampaignError, match=reason):
        rig().bench.do(f"fault {name}")


def test_a_dead_amplifier_is_seen_at_once_and_mended():
    one = rig(even())
    told(one, "lower", "hang 20")
    advance(one, 2.0)
    told(one, "fault bridge-open")
    counts, _ = advance(one, 0.2)
    assert counts[-1000:].mean() / 8 * 3.3 / 4096 == pytest.approx(1.1, abs=1e-3)
    told(one, "fault none")
    advance(one, 0.1)
    assert read_n(one) == pytest.approx(20 * G_M_PER_S2, abs=0.5)


def test_noise_that_is_thrown_in_is_read_as_it_is():
    one = rig(even())
    quiet = advance(one, 0.5)[0]
    told(one, "fault noisy")
    noisy = advance(one, 0.5)[0][1000:]
    chain = one.scene.chain
    assert noisy.mean() == pytest.approx(quiet.mean(), abs=10.0)
    # A sample sums eight conversions, whose noise is white: sqrt(8) x 5 % of 1800 N.
    noise_n = noisy.std() / 8 * chain.reference_v / 4096 * chain.newton_per_volt
    assert noise_n == pytest.approx(90.0 / math.sqrt(8), rel=0.03)


def test_the_shunt_makes_the_step_of_the_scene_on_top_of_a_weight():
    one = rig(even())
    told(one, "lower", "hang 5")
    advance(one, 2.0)
    off = advance(one, 0.2)[0].mean()
    on = advance(one, 0.2, wire.OUTPUT_SHUNT)[0].mean()
    assert (on - off) / 8 * 3.3 / 4096 == pytest.approx(0.5, abs=1e-3)
    told(one, "fault shunt-dead")
    assert advance(one, 0.2, wire.OUTPUT_SHUNT)[0].mean() == pytest.approx(off, abs=1.0)


def test_a_cable_is_cut_once():
    one = rig()
    told(one, "cut")
    assert one.advance(64, 0).inputs & LINK_CUT
    assert not one.advance(64, 0).inputs & LINK_CUT


def test_where_tells_how_it_stands_and_help_every_word():
    one = rig()
    assert "raised on its latch, 1.2 m" in told(one, "where")
    told(one, "lower", "hang 5", "open signal", "coil out", "key off")
    answer = told(one, "where")
    for words in ("sled: down", "5 kg", "open signal", "coil: out", "key: off", "not armed"):
        assert words in answer
    for word, _ in HELP:
        assert word in told(one, "help")


AT_THE_RIG = (
    "lower;latch;hang;hang 5;unhang;hand;latch closed;latch open;mass 6;height 0.5;line 9e3"
)
BESIDE = "fault article-parts;fault none;arm;drive;safe;wait"
WORDS = st.sampled_from([*AT_THE_RIG.split(";"), *BESIDE.split(";")])


@settings(max_examples=15, deadline=None)
@given(st.lists(WORDS, max_size=12))
@pytest.mark.wide
def test_only_a_raised_sled_falls_whatever_hands_do(words):
    one = rig()
    outputs = 0
    for word in words:
        before = one.stand.sled
        if word in ("arm", "drive", "safe", "wait"):
            outputs = {"arm": ARMED, "drive": ARMED | wire.OUTPUT_DRIVE}.get(word, 0)
            seconds = 6.0 if word == "wait" else 0.1
            for _ in range(round(10 * seconds)):
                one.advance(STEP // 10, outputs)
            if one.stand.sled == FALLEN:
                assert before in (RAISED, FALLEN)
        else:
            try:
                one.bench.do(word)
            except CampaignError:
                assert one.stand.sled == before
        assert one.stand.sled in (RAISED, DOWN, HANGS, FALLEN)
        assert one.stand.sled == DOWN or not one.stand.weights_kg
