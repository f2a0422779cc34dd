"""The joint estimate, against solved drops: what is wrong is named, with its number."""

from dataclasses import replace

import numpy as np
import pytest

from tautlog.analysis.bounces import Pull, find_pulls, pull_between
from tautlog.analysis.estimate import Observed, Said, estimate
from tautlog.analysis.find_contacts import find_contacts
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

RATE_HZ = 62500.0
MODEL = RigModel(
    mass_kg=10.0,
    height_m=1.2,
    stiffness_n_per_m=30e3,
    damping_ratio=0.1,
    uptake_m=0.003,
    friction_n=0.04 * 10.0 * G,
)


@pytest.fixture(scope="module")
def seen():
    """Pulls, fall time and rest of a drop with friction of 4 % of the weight."""
    motion = fall(MODEL, duration_s=6.0)
    force_n = motion.force_n(np.arange(int(6.0 * RATE_HZ)) / RATE_HZ)
    threshold_n = 0.02 * force_n.max()
    contacts = find_contacts(force_n, RATE_HZ, threshold_n)
    pulls = find_pulls(force_n, force_n, RATE_HZ, contacts, threshold_n)
    return Observed(pulls, pulls[0].onset_s, motion.truth().rest_force_n, 0.0, 1 / RATE_HZ)


def scaled(seen, factor):
    pulls = tuple(
        replace(one, impulse_ns=factor * one.impulse_ns, moment_ns2=factor * one.moment_ns2)
        for one in seen.pulls
    )
    return replace(seen, pulls=pulls, rest_n=factor * seen.rest_n)


def test_impulse_and_moment_of_a_half_sine():
    """2 F T / pi, and F T**2 / pi for its integral: closed forms."""
    time_s = np.arange(1000) / 10_000.0
    force_n = np.where(time_s <= 0.05, 1500.0 * np.sin(np.pi * time_s / 0.05), 0.0)
    pull = pull_between(force_n, 10_000.0, 0.0, 500.0)
    assert pull.length_s == pytest.approx(0.05)
    assert pull.impulse_ns == pytest.approx(2 * 1500.0 * 0.05 / np.pi, rel=1e-4)
    assert pull.moment_ns2 == pytest.approx(1500.0 * 0.05**2 / np.pi, rel=1e-3)


def test_all_agrees(seen):
    found = estimate(seen, Said(10.0, 1.2, 0.01))
    assert found.agrees
    assert found.wrong == ""
    assert found.scale == pytest.approx(1.0, abs=0.003)
    assert found.height_m == pytest.approx(1.2, abs=0.005)
    assert found.tells_friction
    assert found.friction_fraction == pytest.approx(0.04, abs=2 * found.friction_u)
    assert found.friction_u < 0.02


def test_speed_at_slack_is_the_solved_one(seen):
    found = estimate(seen, Said(10.0, 1.2, 0.01))
    truth = fall(MODEL, duration_s=2.0).truth()
    assert found.speed_out_m_s == pytest.approx(truth.rebound_speed_m_s, rel=0.005)


@pytest.mark.parametrize("factor", [0.1, 0.5, 1.2, 10.0])
def test_a_wrong_scale_is_named_as_mass_or_gain(seen, factor):
    found = estimate(scaled(seen, factor), Said(10.0, 1.2, 0.01))
    assert not found.agrees
    assert found.wrong == "scale"
    assert found.scale == pytest.approx(factor, rel=0.01)
    text = found.words(10.0, 1.2)
    assert f"{found.scale * 10.0:.2f} kg, 10 kg was entered" in text
    assert "weigh the sled" in text


@pytest.mark.parametrize("height_m", [0.9, 1.05, 1.4])
def test_a_wrong_height_is_named(seen, height_m):
    found = estimate(seen, Said(10.0, height_m, 0.01))
    assert found.wrong == "height"
    assert found.height_m == pytest.approx(1.2, rel=0.02)
    assert f"{height_m:g} m was entered" in found.words(10.0, height_m)


def test_a_late_latch_is_no_friction(seen):
    late = replace(seen, fall_time_s=seen.fall_time_s + 0.04)
    found = estimate(late, Said(10.0, 1.2, 0.005))
    assert found.wrong == "delay"
    assert found.agrees
    assert found.tells_delay
    assert found.delay_s == pytest.approx(0.04, abs=2 * found.delay_u_s)


def test_a_sled_that_rests_on_something(seen):
    found = estimate(replace(seen, rest_n=0.7 * seen.rest_n), Said(10.0, 1.2, 0.01))
    assert found.wrong == "rest"


def test_a_stop_that_took_a_part(seen):
    whole = seen.pulls[0]
    first = replace(whole, impulse_ns=0.9 * whole.impulse_ns, moment_ns2=0.9 * whole.moment_ns2)
    found = estimate(replace(seen, pulls=(first, *seen.pulls[1:])), Said(10.0, 1.2, 0.01))
    assert found.wrong == "first-pull"


def test_too_little_tells_nothing():
    assert estimate(Observed(()), Said(10.0, 1.2, 0.01)) is None
    lone = Pull(0.5, 0.56, 80.0, 2.4)
    assert estimate(Observed((lone,)), Said(10.0, 1.2, 0.01)) is None


def test_a_fall_time_alone_tells_no_friction():
    only = Observed((), fall_time_s=np.sqrt(2 * 1.2 / G))
    found = estimate(only, Said(10.0, 1.2, 0.01))
    assert found.agrees
    assert found.scale == pytest.approx(1.0)
