"""Witness: Newton's second law, m A = F + s f, with a known error in one factor at a time."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tautlog.analysis.excitation import tell_excitation
from tautlog.analysis.marking import mark
from tautlog.analysis.ratiometric import corrected, correction_of
from tautlog.analysis.witness import reading_m_s2, tell_witness
from tautlog.mechanics.felt import Felt
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.channels import Accelerometer, ExcitationMonitor
from tautlog.model.trace import DropSetup, Trace

RATE_HZ = 31_250.0
G = 9.80665
SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
SCALE = Accelerometer(0.0015, zero_v=1.65, range_m_s2=980.0, expanded_u_fraction=0.02)
RIG = RigModel(
    mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_800.0, damping_ratio=0.12, friction_n=3.5
)


@pytest.fixture(scope="module")
def drop():
    """Force and reading of a solved fall, half a second of rest before it."""
    motion = fall(RIG, duration_s=8.0)
    time_s = np.arange(-0.5, 6.0, 1 / RATE_HZ)
    rng = np.random.default_rng(3)
    force = motion.force_n(time_s) + rng.normal(0.0, 1.0, time_s.size)
    felt = Felt(motion).at_m_s2(time_s) + rng.normal(0.0, 1.0, time_s.size)
    return force, felt


def witness(drop, *, gain=1.0, mass=1.0, felt=1.0, scale=SCALE, stated=SETUP, **changes):
    force, reading = drop
    trace = Trace(
        gain * force, RATE_HZ, release_time_s=0.5, calibration_u_fraction=0.02, covered_n=3000.0
    )
    setup = replace(stated, mass_kg=None if stated.mass_kg is None else mass * stated.mass_kg)
    marks = replace(mark(trace, setup), **changes)
    volts = 1.65 + felt * reading * 0.0015
    return tell_witness(marks, trace, setup, volts, scale, 3.3 / 4096)


def test_all_right_agrees_and_falls_at_0_g_and_rests_at_1_g(drop):
    told = witness(drop)
    assert told.says == "agrees"
    assert told.ratio == pytest.approx(1.0, abs=0.002)
    # Calibration 2 %, accelerometer 2 %, both k = 2, and mass 0.5 % (standard): closed form.
    assert told.ratio_expanded_u == pytest.approx(2 * math.hypot(0.01, 0.01, 0.005), rel=0.02)
    assert told.free_fall_m_s2 == pytest.approx(3.5 / 9.0, abs=0.05)  # friction over mass
    assert told.rest_m_s2 == pytest.approx(G, abs=0.15)


@pytest.mark.parametrize(
    ("wrong", "ratio"),
    [
        ({"gain": 1.06}, 1 / 1.06),
        ({"mass": 1.06}, 1.06),
        ({"felt": 1.1}, 1.1),
        ({"felt": 0.9}, 0.9),
    ],
)
def test_a_wrong_factor_shows_in_the_ratio(drop, wrong, ratio):
    told = witness(drop, **wrong)
    assert told.ratio == pytest.approx(ratio, abs=0.004)
    assert told.says == "disagrees"
    assert [one.code for one in told.findings] == ["witness-disagrees"]
    assert ("accelerometer first" in told.text) == ("felt" in wrong)


def test_an_accelerometer_upside_down_is_told(drop):
    told = witness(drop, felt=-1.0)
    assert told.says == "disagrees"
    assert told.ratio == pytest.approx(-1.0, abs=0.01)


def test_a_slower_accelerometer_only_makes_a_loop(drop):
    """A pole of 500 Hz is late by 0.32 ms, which would move a plain fit by percents."""
    force, felt = drop
    decay = math.exp(-2 * math.pi * 500.0 / RATE_HZ)
    from scipy.signal import lfilter

    slow = lfilter([1 - decay], [1, -decay], felt, zi=[decay * felt[0]])[0]
    assert witness((force, slow)).ratio == pytest.approx(1.0, abs=0.006)


def test_nothing_is_said_without_facts(drop):
    assert "sensitivity is not stated" in witness(drop, scale=Accelerometer()).text
    assert "mass is not stated" in witness(drop, stated=replace(SETUP, mass_kg=None)).text
    assert "not seen whole" in witness(drop, clipped=True).text
    small = witness(drop, scale=replace(SCALE, range_m_s2=150.0))
    assert [one.code for one in small.findings] == ["accelerometer-range"]
    for told in (witness(drop, clipped=True), small):
        assert (told.says, told.ratio) == ("unknown", None)


def test_the_signs_of_an_accelerometer():
    volts = np.array([1.65, 1.65 + 0.0015 * G, 1.65 - 0.0015 * G])
    assert reading_m_s2(volts, SCALE) == pytest.approx([0.0, G, -G])
    turned = replace(SCALE, volt_per_m_s2=-0.0015)
    assert reading_m_s2(volts, turned) == pytest.approx([0.0, -G, G])


MONITOR = ExcitationMonitor(divider_ratio=2.0, expected_v=5.0, tolerance_fraction=0.01)


def supply(drop, level=1.0, drift=0.0, sag=0.0, monitor=MONITOR):
    force, _ = drop
    marks = mark(Trace(force, RATE_HZ, release_time_s=0.5), SETUP)
    ramp = np.linspace(0.0, drift, force.size)
    volts = 2.5 * level * (1 + ramp - sag * np.clip(force, 0, None) / marks.peak_force_n)
    volts = volts + np.random.default_rng(4).normal(0.0, 0.0005, force.size)
    return volts, tell_excitation(marks, volts, monitor)


@pytest.mark.parametrize(
    ("wrong", "codes"),
    [
        ({}, ["excitation-steady"]),
        ({"level": 0.97}, ["excitation-off"]),
        ({"drift": 0.03}, ["excitation-drift"]),
        ({"sag": 0.04}, ["excitation-sag"]),
        ({"monitor": replace(MONITOR, expected_v=None)}, ["excitation-unjudged"]),
        ({"monitor": ExcitationMonitor()}, []),
    ],
)
def test_the_supply_of_the_bridges(drop, wrong, codes):
    told = supply(drop, **wrong)[1]
    assert [one.code for one in told.findings] == codes
    if "sag" in wrong:
        assert told.sag_fraction == pytest.approx(0.04, abs=0.002)
    if "level" in wrong:
        assert told.off_fraction == pytest.approx(-0.03, abs=1e-3)


def test_a_force_is_corrected_by_the_supply_only_where_that_is_stated(drop):
    """A bridge gives F E / E0 above the amplifier's own zero; the correction gives F again."""
    force, _ = drop
    volts, _ = supply(drop, sag=0.04)
    zero_n = 450.0
    seen = Trace(zero_n + force * (2.0 * volts / 5.0), RATE_HZ)
    assert correction_of(volts, MONITOR, RATE_HZ) is None
    factor = correction_of(volts, replace(MONITOR, ratiometric="yes"), RATE_HZ)
    left = corrected(seen, zero_n, factor).force_n - zero_n - force
    assert np.abs(seen.force_n - zero_n - force).max() > 60.0
    assert np.abs(left).max() < 3.0
