"""Pull: what a static pull proves, from readings one after another; and the gauge at the mount."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.board.resting import Look
from tautlog.campaign.proofs import LEAST_HELD_S
from tautlog.campaign.pull import Dial, Pull, proof_from
from tautlog.errors import CampaignError, QuantityError
from tautlog.model.calibration import Calibration
from tautlog.model.load_path import Mount

TARGET_N, STEP_S = 2000.0, 0.5
START = Pull(TARGET_N, Calibration(newton_per_volt=1000.0), 0.45)


def looks(forces_n, step_s=STEP_S):
    """Readings of forces, one after another; None for one that cannot be believed."""
    return [
        Look(0.0, 1e-3, (n + 1) * step_s, problem="lost")
        if force is None
        else Look(0.45 + force / 1000.0, 1e-3, (n + 1) * step_s)
        for n, force in enumerate(forces_n)
    ]


def after(forces_n, **about):
    pull = START
    for look in looks(forces_n, **about):
        pull = pull.seen(look)
    return pull


def test_what_was_held_is_proven_not_the_peak():
    pull = after([0.0, 2600.0, *[2100.0] * 140, 0.0])
    assert pull.peak_n == pytest.approx(2600.0)
    assert pull.best.lowest_n == pytest.approx(2100.0)
    assert pull.held_s == pytest.approx(141 * STEP_S)
    made = proof_from(pull, Mount("beam-1"), "A. Rigger", Dial(1.0, 2.0, 1.0))
    assert made.pulled_n == pytest.approx(2100.0)
    assert made.doubts == ()
    assert made.stiffness_n_per_m == pytest.approx(2.1e6)


@pytest.mark.parametrize("break_", [None, 1999.0, 0.0, -50.0])
def test_a_break_begins_the_hold_anew(break_):
    held = after([2100.0] * 100 + [break_] + [2100.0] * 60)
    assert held.held_s == pytest.approx(100 * STEP_S)
    assert held.now.held_s == pytest.approx(60 * STEP_S)
    assert proof_from(held, Mount("m"), "A", Dial()).failures.keys() == {"time held"}


def test_readings_far_apart_are_no_hold():
    """Nobody knows what the force was in between: four seconds, with readings of half a second."""
    assert after([2100.0] * 30, step_s=4.0).held_s == pytest.approx(0.5)


def test_a_pull_that_stopped_below_its_target_still_counts_for_what_it_was():
    pull = after([1500.0] * 130)
    made = proof_from(pull, Mount("m"), "A", Dial())
    assert made.pulled_n == pytest.approx(1500.0)
    assert made.held_s >= LEAST_HELD_S
    assert pull.left_s == LEAST_HELD_S  # of the target nothing was held


def test_without_a_pull_there_is_nothing_to_enter():
    with pytest.raises(CampaignError, match="nothing was pulled"):
        proof_from(after([0.0, -3.0, None]), Mount("m"), "A", Dial())


def test_a_curved_calibration_counts_from_its_own_zero():
    """F = a (u - z) + b (u - z)^2 with z = 0.45 V; at 2.45 V 2000 + 4 x 50 N."""
    curved = replace(START.calibration, newton_per_square_volt=50.0, zero_v=0.45)
    pull = replace(START, calibration=curved).seen(looks([2000.0])[0])
    assert pull.force_n == pytest.approx(2200.0)


@given(
    st.lists(
        st.one_of(st.none(), st.floats(-100.0, 2700.0)),
        max_size=60,
    )
)
def test_no_hold_is_longer_or_higher_than_its_readings(forces_n):
    pull = after(forces_n)
    known = [force for force in forces_n if force is not None]
    assert pull.peak_n == pytest.approx(max([0.0, *known]), abs=1e-6)
    if pull.best is None:
        return
    assert pull.best.lowest_n >= pull.counts_n - 1e-6
    longest = run = 0
    for force in forces_n:
        run = run + 1 if force is not None and force >= pull.best.lowest_n - 1e-6 else 0
        longest = max(longest, run)
    assert pull.held_s <= longest * STEP_S + 1e-9


@given(st.floats(-500, 500), st.floats(-50, 50), st.floats(-5, 5))
def test_a_gauge_may_count_either_way(before, moved, stayed):
    under, end = before + moved, before + stayed
    if round(abs(under - before), 6) == 0.0:
        return
    dial, mirrored = Dial(before, under, end), Dial(-before, -under, -end)
    assert dial.deflection_m == mirrored.deflection_m == pytest.approx(abs(moved) / 1e3, abs=1e-9)
    assert dial.set_m == mirrored.set_m == pytest.approx(abs(stayed) / 1e3, abs=1e-9)


@pytest.mark.parametrize(
    ("readings", "problem", "word"),
    [
        ((None, 1.0, None), CampaignError, "not read before"),
        ((1.0, 1.0, 1.0), CampaignError, "did not move"),
        ((1.0, float("nan"), None), QuantityError, "gauge|allowed is"),
        ((1.0, 1e9, None), QuantityError, "allowed is"),
    ],
)
def test_a_gauge_that_says_nothing_is_refused(readings, problem, word):
    with pytest.raises(problem, match=word):
        Dial(*readings)


def test_a_gauge_that_was_not_read_is_not_stated():
    assert (Dial().deflection_m, Dial().set_m) == (None, None)
    assert Dial(1.0, None, 1.0).set_m == 0.0
