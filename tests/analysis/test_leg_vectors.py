"""Legs at angles: the statics of a bridle, limits of each leg, and the order of two losses."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_legs import RATE_HZ, SETUP, two_springs

from tautlog.analysis.in_turn import summed
from tautlog.analysis.leg_order import TOLD, UNCLEAR, order_of
from tautlog.analysis.leg_vectors import LegForce, asymmetry, resultant
from tautlog.analysis.legs import tell_legs
from tautlog.analysis.marking import mark
from tautlog.errors import JsonError
from tautlog.model.leg_facts import LegFacts, as_text, leaning, read_leg_facts
from tautlog.model.legs import AXIAL, PLAIN, Leg
from tautlog.model.trace import Trace

# Tension of each of two legs for 1000 N, over 500 N: 1 / cos a. Values of any sling angle table
# (there by the angle to the horizontal: 90, 60, 45, 30 degrees), from memory.
SLING_FACTORS = {0.0: 1.000, 30.0: 1.155, 45.0: 1.414, 60.0: 2.000}


def facts(angle_deg, count, u_deg=2.0, **more):
    return tuple(
        LegFacts(f"force {n}", angle_deg, 360.0 * n / count, u_deg, **more) for n in range(count)
    )


@pytest.mark.parametrize(("angle_deg", "factor"), SLING_FACTORS.items())
def test_two_legs_of_a_sling_angle_table_carry_their_load(angle_deg, factor):
    told = resultant([LegForce(500.0 * factor)] * 2, facts(angle_deg, 2))
    assert told.total_n == pytest.approx(1000.0, rel=1e-3)
    assert told.axial_n == pytest.approx(1000.0, rel=1e-3)
    assert told.off_vertical_deg == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("angle_deg", [5.0, 20.0, 50.0])
def test_three_legs_carry_a_third_each_over_the_cosine(angle_deg):
    each = 1200.0 / (3.0 * math.cos(math.radians(angle_deg)))
    told = resultant([LegForce(each)] * 3, facts(angle_deg, 3))
    assert told.total_n == pytest.approx(1200.0)
    assert told.off_vertical_deg == pytest.approx(0.0, abs=1e-5)


def test_unequal_legs_pull_sideways():
    """300 N and 400 N at right angles are 500 N, 3-4-5; the sum stands 8.13 degrees off."""
    told = resultant([LegForce(300.0), LegForce(400.0)], facts(45.0, 2))
    assert told.total_n == pytest.approx(500.0)
    assert told.off_vertical_deg == pytest.approx(45.0 - math.degrees(math.atan2(3, 4)), abs=1e-6)
    assert told.axial_n == pytest.approx(700.0 * math.cos(math.pi / 4))


def test_without_an_azimuth_only_the_vertical_is_known():
    lean = [replace(one, azimuth_deg=None) for one in facts(30.0, 2)]
    told = resultant([LegForce(500.0)] * 2, lean)
    assert told.total_n is None
    assert told.axial_n == pytest.approx(1000.0 * math.cos(math.pi / 6))


@pytest.mark.parametrize("angle_deg", [10.0, 30.0, 55.0])
def test_the_uncertainty_of_the_vector_against_a_simulation(angle_deg):
    """GUM's law against 40 000 draws of gain (common to all), noise and angles (JCGM 101:2008)."""
    rng, lean = np.random.default_rng(3), facts(angle_deg, 3, 3.0)
    forces = np.array([900.0, 600.0, 400.0])
    told = resultant([LegForce(f, 0.01 * f, 2.0) for f in forces], lean)
    draws = 40_000
    pulls = forces * (1 + 0.01 * rng.normal(size=(draws, 1))) + rng.normal(0, 2.0, (draws, 3))
    tilt = np.radians([one.from_vertical_deg for one in lean])
    tilt = tilt + math.radians(1.5) * rng.normal(size=(draws, 3))
    turn = np.radians([one.azimuth_deg for one in lean])
    turn = turn + math.radians(1.5) * rng.normal(size=(draws, 3))
    parts = np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
    whole = np.sum(parts * pulls, axis=2)
    assert told.total_expanded_u_n == pytest.approx(
        2 * np.linalg.norm(whole, axis=0).std(), rel=0.05
    )
    assert told.axial_expanded_u_n == pytest.approx(2 * whole[2].std(), rel=0.05)


def test_asymmetry_by_its_own_definition():
    assert asymmetry([LegForce(500.0), LegForce(500.0)])[0] == 0.0
    assert asymmetry([LegForce(600.0), LegForce(400.0)])[0] == pytest.approx(0.2)
    assert asymmetry([LegForce(600.0), LegForce(0.0), LegForce(300.0)])[0] == 1.0
    assert asymmetry([LegForce(0.0), LegForce(0.0)]) is None
    drawn = np.random.default_rng(4).normal((600.0, 400.0), (6.0, 4.0), (40_000, 2))
    spread = 2 * ((drawn[:, 0] - drawn[:, 1]) / drawn.sum(axis=1)).std()
    told = asymmetry([LegForce(600.0, 6.0), LegForce(400.0, 0.0, 4.0)])[1]
    assert told == pytest.approx(spread, rel=0.03)


def leaned(count, angle_deg, peak_axial, seed=5):
    """Traces of equal legs at one angle whose sum along the vertical is a given force."""
    rng = np.random.default_rng(seed)
    each = peak_axial.force_n / (count * math.cos(math.radians(angle_deg)))
    return {
        f"force {n}": replace(
            peak_axial, force_n=each + rng.normal(0.0, 0.3, each.size), covered_n=2700.0
        )
        for n in range(count)
    }


@pytest.mark.parametrize(("count", "angle_deg"), [(2, 30.0), (3, 40.0)])
def test_a_drop_on_legs_at_angles_has_the_impulse_of_its_sled(count, angle_deg):
    """Momentum is along the vertical: the plain sum is too high by 1 / cos a."""
    springs = two_springs(10e3, 10e3, 0.0)[0]
    axial = summed(list(springs.values()))
    legs = leaned(count, angle_deg, axial)
    lean = facts(angle_deg, count)
    setup = replace(SETUP, leg_facts=as_text(lean))
    whole = mark(summed(list(legs.values()), lean), setup, cfc=600)
    plain = mark(summed(list(legs.values())), SETUP, cfc=600)
    truth_n = float(axial.force_n.max())
    assert whole.peak_force_n == pytest.approx(truth_n, rel=0.01)
    assert plain.peak_force_n == pytest.approx(truth_n / lean[0].cosine, rel=0.01)
    assert whole.peak_force_expanded_u_n > plain.peak_force_expanded_u_n * lean[0].cosine
    told = tell_legs(whole, legs, setup, cfc=600, zero="slack")
    assert (told.sum_is, told.let_go_order) == (AXIAL, "")
    assert abs(told.resultant_force_n - truth_n) < told.resultant_expanded_u_n
    assert told.resultant_off_vertical_deg < 0.5
    assert told.asymmetry < 0.02
    plainly = tell_legs(plain, legs, SETUP, cfc=600, zero="slack")
    assert (plainly.sum_is, plainly.resultant_force_n) == (PLAIN, None)


def test_a_leg_at_a_limit_of_the_converter_excludes_no_overload():
    legs = two_springs(12e3, 9e3, 0.0)[0]
    left = legs["force left"]
    cut = np.minimum(left.force_n, 700.0)
    legs["force left"] = replace(left, force_n=cut, clipped=left.force_n >= 700.0)
    for limit_n, code in ((2000.0, "leg-possible-overload"), (500.0, "leg-overload")):
        setup = replace(SETUP, leg_facts=as_text([LegFacts("force left", limit_n=limit_n)]))
        whole = mark(summed(list(legs.values())), setup, cfc=600)
        told = tell_legs(whole, legs, setup, cfc=600, zero="slack")
        assert code in [finding.code for finding in told.findings]


def with_losses(*times_s, onset_u_s=0.0002, rate_hz=RATE_HZ, bandwidth_hz=2000.0):
    names = [f"force {n}" for n in range(len(times_s))]
    legs = [
        Leg(name, True, onset_expanded_u_s=onset_u_s, break_time_s=at)
        for name, at in zip(names, times_s, strict=True)
    ]
    trace = Trace(np.zeros(8), rate_hz, bandwidth_hz=bandwidth_hz)
    return legs, dict.fromkeys(names, trace)


@pytest.mark.parametrize(
    ("cfc", "bandwidth_hz", "onset_u_s", "resolved_ms"),
    [
        # 2 samples + 0.3497 / f + sqrt(2) U, by hand: 0.064 + 0.350 + 0.283 ms
        (600, 1000.0, 0.0002, 0.697),
        (60, 2000.0, 0.0002, 0.064 + 349.7 / 100.0 + 0.283),
        (None, 2000.0, 0.0001, 0.064 + 0.1748 + 0.1414),
    ],
)
def test_the_order_is_told_only_where_it_can_be_resolved(cfc, bandwidth_hz, onset_u_s, resolved_ms):
    for apart_ms, word in ((resolved_ms + 0.03, TOLD), (resolved_ms - 0.03, UNCLEAR)):
        legs, traces = with_losses(
            1.0 + 1e-3 * apart_ms, 1.0, onset_u_s=onset_u_s, bandwidth_hz=bandwidth_hz
        )
        order = order_of(legs, traces, cfc)
        assert order.resolved_s == pytest.approx(1e-3 * resolved_ms, rel=0.01)
        assert order.word == word
        assert order.first == ("force 1" if word == TOLD else None)


def test_the_order_of_what_is_not_known_is_unclear():
    legs, traces = with_losses(1.0, 1.5, onset_u_s=None)
    assert order_of(legs, traces, 600).word == UNCLEAR
    legs, traces = with_losses(1.0, None)
    assert order_of(legs, traces, 600).first == "force 0"
    assert order_of([*legs, Leg("force 9", False)], traces, 600).word == UNCLEAR
    assert order_of(with_losses(None, None)[0], traces, 600).word == ""


def test_facts_survive_a_record_and_nonsense_does_not():
    lean = facts(30.0, 3, target_n=900.0, limit_n=1000.0)
    assert read_leg_facts(as_text(lean)) == lean
    assert as_text(()) == ""
    assert leaning(lean, ("force 2", "force 0")) == (lean[2], lean[0])
    assert leaning(lean, ("force 0", "force 7")) == ()
    assert leaning([*lean[:2], LegFacts("force 2", limit_n=9.0)], [o.name for o in lean]) == ()


@pytest.mark.parametrize(
    "text",
    [
        *("{", "{}", "[1]", '[{"name": 1}]', '[{"name": "force", "colour": 1}]'),
        '[{"name": "force", "from_vertical_deg": NaN, "angle_expanded_u_deg": 1}]',
        '[{"name": "force", "from_vertical_deg": 91, "angle_expanded_u_deg": 1}]',
        '[{"name": "force", "from_vertical_deg": "30", "angle_expanded_u_deg": 1}]',
        '[{"name": "force", "from_vertical_deg": 30}]',
        '[{"name": "force", "limit_n": -5}]',
        '[{"name": "force", "limit_n": true}]',
        '[{"name": "force", "limit_n": 5, "target_n": 6}]',
        '[{"name": "force"}, {"name": "force"}]',
        "[" * 100_000,
    ],
)
def test_absurd_facts_are_refused(text):
    with pytest.raises(JsonError):
        read_leg_facts(text)


@pytest.mark.parametrize(("angle_deg", "u_deg"), [(0.0, 5.0), (0.0, 10.0), (5.0, 10.0)])
def test_near_the_vertical_the_interval_holds_what_the_angles_take(angle_deg, u_deg):
    """A cosine has no slope at 0, and a linear law would tell an interval of no width."""
    lean = [LegFacts(name, angle_deg, None, u_deg) for name in ("left", "right")]
    told = resultant([LegForce(1000.0), LegForce(1000.0)], lean)
    rng = np.random.default_rng(4)
    tilt = np.radians(angle_deg) + np.radians(u_deg) / 2.0 * rng.normal(size=(200_000, 2))
    truth_n = 1000.0 * np.cos(tilt).sum(axis=1)
    inside = np.abs(truth_n - told.axial_n) <= told.axial_expanded_u_n
    assert inside.mean() >= 0.94


FORCES = st.lists(st.floats(1.0, 1e5), min_size=2, max_size=5)
TILTS = st.lists(st.floats(0.0, 85.0), min_size=5, max_size=5)


def leaned_by(angles_deg, azimuths_deg=None):
    turns = azimuths_deg or [72.0 * n for n in range(len(angles_deg))]
    return [
        LegFacts(f"force {n}", angle, turn, 1.0)
        for n, (angle, turn) in enumerate(zip(angles_deg, turns, strict=True))
    ]


@given(FORCES, TILTS)
def test_the_axial_sum_is_that_of_the_cosines_in_any_order(forces, angles_deg):
    """F1 cos a1 + F2 cos a2 + ..., statics."""
    angles_deg = angles_deg[: len(forces)]
    facts, pulls = leaned_by(angles_deg), [LegForce(one) for one in forces]
    told = resultant(pulls, facts)
    by_hand = math.fsum(
        f * math.cos(math.radians(a)) for f, a in zip(forces, angles_deg, strict=True)
    )
    assert told.axial_n == pytest.approx(by_hand, rel=1e-12, abs=1e-9)
    back = resultant(pulls[::-1], facts[::-1])
    assert back.axial_n == pytest.approx(told.axial_n, rel=1e-12, abs=1e-9)
    assert back.total_n == pytest.approx(told.total_n, rel=1e-9, abs=1e-6)
    # A part is never longer than the whole, nor the whole than all forces laid in line.
    assert told.axial_n <= told.total_n * (1 + 1e-12) + 1e-9
    assert told.total_n <= math.fsum(forces) * (1 + 1e-12) + 1e-9


@given(FORCES)
def test_legs_that_do_not_lean_are_a_plain_sum(forces):
    told = resultant([LegForce(one) for one in forces], leaned_by([0.0] * len(forces)))
    assert told.axial_n == pytest.approx(math.fsum(forces), rel=1e-12, abs=1e-9)
    assert told.total_n == pytest.approx(told.axial_n, rel=1e-12, abs=1e-9)


@given(FORCES, TILTS, st.integers(0, 4), st.floats(0.0, 1e5))
def test_more_force_in_a_leg_is_more_along_the_vertical(forces, angles_deg, place, more_n):
    facts = leaned_by(angles_deg[: len(forces)])
    place %= len(forces)
    harder = [one + more_n * (n == place) for n, one in enumerate(forces)]
    before, after = (resultant([LegForce(f) for f in some], facts) for some in (forces, harder))
    gained = more_n * facts[place].cosine
    assert after.axial_n - before.axial_n == pytest.approx(gained, rel=1e-9, abs=1e-6)


@given(st.floats(1.0, 1e5), st.floats(1.0, 1e5), st.floats(0.0, 85.0), st.floats(0.0, 85.0))
def test_two_legs_in_a_plane_follow_the_law_of_cosines(left_n, right_n, left_deg, right_deg):
    facts = leaned_by([left_deg, right_deg], [0.0, 180.0])
    told = resultant([LegForce(left_n), LegForce(right_n)], facts)
    between = math.radians(left_deg + right_deg)
    whole = math.sqrt(left_n**2 + right_n**2 + 2 * left_n * right_n * math.cos(between))
    assert told.total_n == pytest.approx(whole, rel=1e-6, abs=1e-6 * (left_n + right_n))
