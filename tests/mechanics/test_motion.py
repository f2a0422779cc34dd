"""The rehearsed sled against closed forms, energy and a solver of its own."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from traces import arrest

from tautlog.mechanics.first_peak import first_peak_n, model_for_peak
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel, Slip
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

RATE_HZ = 62500.0
TIME_S = np.arange(int(6 * RATE_HZ)) / RATE_HZ


def truth(**model):
    return fall(RigModel(**model), duration_s=8.0).truth()


# sigma_max / sigma_st of a falling weight, 1 + sqrt(1 + 2 h / delta_st): J. M. Gere, Mechanics
# of Materials, 7th ed., problem 9.10-1 as its solution prints it; 4.33 there is a misprint
# of 4.3166, hence the wider tolerance of that row.
GERE = [(0.0, 2.00, 0.006), (2.5, 3.45, 0.006), (5.0, 4.33, 0.02), (7.5, 5.0, 0.006)]


@pytest.mark.parametrize(("ratio", "factor", "within"), [*GERE, (10.0, 5.58, 0.006)])
def test_falling_weight_of_a_textbook(ratio, factor, within):
    mass, stiffness = 4.0, 3000.0
    static_m = mass * G / stiffness
    seen = truth(mass_kg=mass, height_m=ratio * static_m, stiffness_n_per_m=stiffness)
    assert seen.peak_force_n / (mass * G) == pytest.approx(factor, abs=within)
    exact = 1 + math.sqrt(1 + 2 * ratio)
    assert seen.peak_force_n / (mass * G) == pytest.approx(exact, rel=1e-7)


@settings(max_examples=20, deadline=None)
@given(st.floats(1, 50), st.floats(0.05, 3), st.floats(500, 2e5))
def test_undamped_arrest(mass, height, stiffness):
    """Peak, contact time and impulse of a mass on a spring that cannot push."""
    seen = truth(mass_kg=mass, height_m=height, stiffness_n_per_m=stiffness)
    weight, v0, w = mass * G, math.sqrt(2 * G * height), math.sqrt(stiffness / mass)
    peak = weight * (1 + math.sqrt(1 + 2 * height * stiffness / weight))
    contact_s = 2 / w * (math.pi - math.atan(v0 * w / G))
    assert seen.peak_force_n == pytest.approx(peak, rel=1e-6)
    assert seen.base_duration_s == pytest.approx(contact_s, rel=1e-6)
    assert seen.impulse_ns == pytest.approx(2 * mass * v0 + weight * contact_s, rel=1e-5)
    assert seen.taut_speed_m_s == pytest.approx(v0, rel=1e-9)
    assert seen.fall_time_s == pytest.approx(math.sqrt(2 * height / G), rel=1e-9)
    assert seen.restitution == pytest.approx(1.0, abs=1e-6)
    # What the line holds at its longest: k x^2 / 2.
    assert seen.energy_absorbed_j == pytest.approx(peak**2 / (2 * stiffness), rel=1e-4)


@pytest.mark.parametrize(
    ("case", "contact_s", "impulse_ns"),
    [
        ((25, 2, 7677.4459168013545), 0.18944185510528636, 359.60046127590334),
        ((25, 2, 10_000), 0.16489258921002, 353.5818098161),
        ((10, 1, 5000), 0.14932489115736, 103.2175804665),
        ((5, 0.5, 2000), 0.17261130952003, 39.7792646992),
    ],
)
def test_published_arrests(case, contact_s, impulse_ns):
    """Contact time and impulse of a mass on a spring, printed to 13 or 14 digits."""
    seen = truth(**dict(zip(("mass_kg", "height_m", "stiffness_n_per_m"), case, strict=True)))
    assert seen.base_duration_s == pytest.approx(contact_s, rel=1e-7)
    assert seen.impulse_ns == pytest.approx(impulse_ns, rel=1e-7)


def test_durations_of_the_published_arrest():
    """25 kg, 2 m, 3 kN: integration of the equation of motion (DOP853, rtol 1e-12)."""
    seen = truth(mass_kg=25.0, height_m=2.0, stiffness_n_per_m=7677.4459168013545)
    assert seen.fwhm_s == pytest.approx(0.125296362, abs=1e-8)
    assert seen.duration_s == pytest.approx(0.176999785, abs=1e-8)


def test_half_sine_limit_of_the_rise_time():
    """A stiff line makes a half-sine: (asin 0.9 - asin 0.1) / pi = 0.3245 of the contact."""
    seen = truth(mass_kg=1.0, height_m=5.0, stiffness_n_per_m=1e7)
    ratio = seen.rise_time_s / seen.base_duration_s
    assert ratio == pytest.approx((math.asin(0.9) - math.asin(0.1)) / math.pi, abs=1e-3)


@pytest.mark.parametrize("damping_ratio", [0.0, 0.05, 0.12, 0.3])
def test_force_is_that_of_another_solver(damping_ratio):
    model = RigModel(
        mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_000.0, damping_ratio=damping_ratio
    )
    ours = fall(model, duration_s=2.0).force_n(TIME_S[: int(1.5 * RATE_HZ)])
    _, theirs = arrest(9.0, 1.2, 20_000.0, damping_ratio, total_s=1.5)
    # At a jump of c v0 the two may differ by a sample.
    apart = np.abs(ours - theirs) > 2e-3 * theirs.max()
    assert apart.sum() <= 6


def test_friction_slows_the_fall():
    seen = truth(mass_kg=10.0, height_m=1.0, stiffness_n_per_m=5000.0, friction_n=20.0)
    a = G - 2.0
    assert seen.taut_speed_m_s == pytest.approx(math.sqrt(2 * a), rel=1e-9)
    assert seen.fall_time_s == pytest.approx(math.sqrt(2 / a), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 0.4), st.floats(0, 30), st.floats(0, 40))
def test_momentum_and_energy_balance(damping_ratio, friction_n, hardening):
    """J = m (v_in + v_out) + (m g - friction going down + friction going up) T, nearly."""
    model = RigModel(
        mass_kg=9.0,
        height_m=1.2,
        stiffness_n_per_m=20_000.0,
        damping_ratio=damping_ratio,
        friction_n=friction_n,
        hardening_per_m2=hardening,
    )
    seen = fall(model, duration_s=3.0).truth()
    v_in = seen.taut_speed_m_s
    v_out = seen.restitution * v_in
    gravity_part = 9.0 * G * seen.base_duration_s
    slack_n_s = friction_n * seen.base_duration_s
    expected = 9.0 * (v_in + v_out) + gravity_part
    assert seen.impulse_ns == pytest.approx(expected, abs=slack_n_s + 1e-3 * expected)
    assert 0 <= seen.restitution <= 1 + 1e-6
    assert seen.energy_absorbed_j >= -1e-6


def test_it_ends_hanging():
    model = RigModel(
        mass_kg=9.0, height_m=0.6, stiffness_n_per_m=20_000.0, damping_ratio=0.2, friction_n=3.0
    )
    motion = fall(model, duration_s=8.0)
    rest = motion.force_n(np.linspace(7.0, 7.9, 100))
    assert rest == pytest.approx(motion.truth().rest_force_n, rel=1e-3)
    assert abs(motion.truth().rest_force_n - 9.0 * G) <= 3.0


def test_break():
    seen = truth(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_000.0, break_force_n=900.0)
    assert seen.break_force_n == pytest.approx(900.0, rel=1e-6)
    assert seen.peak_force_n == pytest.approx(900.0, rel=1e-6)
    assert seen.rest_force_n == 0.0
    # k x = 900 on a spring: x(t) from v0 sin wt / w + g (1 - cos wt) / w^2, solved for t.
    w, v0 = math.sqrt(20_000 / 9.0), math.sqrt(2 * G * 1.2)
    x = v0 * math.sin(w * (at := seen.break_time_s - seen.onset_time_s)) / w
    x += G * (1 - math.cos(w * at)) / w**2
    assert 20_000 * x == pytest.approx(900.0, rel=1e-5)


def test_slip_holds_the_force_down():
    slip = Slip(force_n=1000.0, length_m=0.5)
    seen = truth(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_000.0, slip=slip)
    assert 0 < seen.slipped_m < 0.5
    assert seen.peak_force_n == pytest.approx(1000.0, rel=0.01)


def test_never_taut():
    seen = truth(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_000.0, catch_stretch_m=-0.05)
    assert seen.peak_force_n is None


def test_zero_height_is_a_suddenly_applied_load():
    seen = truth(mass_kg=9.0, height_m=0.0, stiffness_n_per_m=20_000.0)
    assert seen.peak_force_n == pytest.approx(2 * 9.0 * G, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(st.floats(300, 5000))
def test_line_for_a_peak(peak_n):
    model = RigModel(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=20_000.0, damping_ratio=0.1)
    found = model_for_peak(model, peak_n)
    assert first_peak_n(found) == pytest.approx(peak_n, rel=1e-6)


@pytest.mark.parametrize(
    "bad",
    [
        {"mass_kg": 0.0},
        {"height_m": -1.0},
        {"stiffness_n_per_m": 0.0},
        {"damping_ratio": 1.0},
        {"friction_n": 100.0},
        {"break_force_n": 0.0},
    ],
)
def test_impossible_rigs(bad):
    with pytest.raises(ValueError, match=next(iter(bad))):
        RigModel(**{"mass_kg": 9.0, "height_m": 1.0, "stiffness_n_per_m": 1e4} | bad)
