"""What a peak loses and gains, against published values and closed forms; the limits' table."""

import ast
import pickle
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tautlog.analysis.budgets import Chain
from tautlog.analysis.peak import AFTER_PARABOLA, Top, corrections, largest_of_noisy
from tautlog.calibrate.calibrating import Point, calibrate
from tautlog.model import limits
from tautlog.model.calibration import Calibration
from tautlog.model.uncertainty import sampling_loss

HOST = Path(limits.__file__).parents[1]


# Mean of the largest of n standard normal values: Harter, Biometrika 48 (1961), table 1;
# Tippett (1925) has the same; from memory.
@pytest.mark.parametrize(
    ("count", "mean"), [(2, 0.56419), (5, 1.16296), (10, 1.53875), (100, 2.50759)]
)
def test_largest_of_noisy(count, mean):
    assert largest_of_noisy(np.zeros(count), 3.0)[0] == pytest.approx(3.0 * mean, abs=0.01)


def test_spread_of_the_largest_of_two():
    """Variance 1 - 1 / pi, closed form."""
    assert largest_of_noisy(np.zeros(2), 1.0)[1] == pytest.approx((1 - 1 / np.pi) ** 0.5, abs=0.01)


def test_one_value_that_stands_out_is_no_choice():
    assert largest_of_noisy(np.array([0.0, 50.0, 60.0]), 1.0)[0] == pytest.approx(0.0, abs=1e-6)


# Share of a half-sine's peak that a parabola through the three highest samples leaves, at worst
# phase, by brute force.
@pytest.mark.parametrize("samples", [3, 5, 10, 30])
def test_what_a_parabola_leaves(samples):
    phase = np.linspace(-0.5, 0.5, 401)
    a, b, c = (np.cos(np.pi / samples * (phase + one)) for one in (-1, 0, 1))
    top = b + (c - a) ** 2 / (8 * (2 * b - a - c))
    assert np.abs(1 - top).max() <= AFTER_PARABOLA * sampling_loss(samples) * 1.001


def test_the_noise_of_an_unfiltered_top_is_taken_off():
    """Largest of a noisy half-sine, by draws: 1 % high, and not when corrected."""
    rate, rng = 20_000.0, np.random.default_rng(3)
    clean = 1000.0 * np.sin(np.pi * np.arange(1001) / 1000)
    raw, mended = [], []
    for _ in range(300):
        noisy = clean + rng.normal(0.0, 4.0, clean.size)
        top = Top(noisy, clean, int(np.argmax(noisy)), rate, 4.0, 1 / rate, 0.0, 0.05)
        raw.append(top.height_n)
        mended.append(top.height_n + sum(one.value_n for one in corrections(top)))
    assert np.mean(raw) - 1000.0 > 8.0
    assert abs(np.mean(mended) - 1000.0) < 1.0
    u = corrections(top)[0].part.u
    assert np.std(mended) <= 1.15 * u


def test_a_cell_that_bends_is_uncertain_at_small_forces_too():
    """5 kN, 0.3 % of it from a straight line: 15 N anywhere, also at 150 N."""
    loads = np.linspace(0.0, 5000.0, 11)
    volts = (loads + 15.0 * np.sin(2 * np.pi * loads / 5000.0)) / 2000.0
    points = [Point(float(a), float(b)) for a, b in zip(loads, volts, strict=True)]
    made = calibrate(points, Calibration(), degree=1).calibration
    assert made.expanded_u_at_n(150.0) > 15.0
    assert made.expanded_u_at_n(5000.0) < 60.0
    chain = Chain(made.expanded_u_fraction, made.expanded_u_n, 5000.0, 0.0, 0.0, 0.0, 0.0)
    assert 2.0 * 150.0 * chain.force_u_fraction(150.0) > 15.0


def test_a_limit_reckons_as_its_number_and_knows_its_basis():
    for name, one in vars(limits).items():
        if isinstance(one, limits.Limit):
            assert one.unit, name
            assert len(one.basis) > 10, name
            again = pickle.loads(pickle.dumps(one))
            assert (again, again.unit, again.basis) == (one, one.unit, one.basis)


def test_no_module_has_a_second_copy_of_a_limit():
    names = {name for name, one in vars(limits).items() if isinstance(one, limits.Limit)}
    for path in HOST.rglob("*.py"):
        if path.name == "limits.py":
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Assign):
                told = {one.id for one in node.targets if isinstance(one, ast.Name)}
                assert not told & names, f"{path.name} has its own {told & names}"


def test_t_of_three_drops():
    """JCGM 100:2008, table G.2: t for 95.45 % and two degrees of freedom is 4.53 (from memory)."""
    from tautlog.model.uncertainty import COVERAGE, student_t

    assert student_t(COVERAGE, 2) == pytest.approx(4.53, abs=0.005)
    assert student_t(COVERAGE, 2) == pytest.approx(stats.t.ppf(0.5 + 0.5 * COVERAGE, 2), rel=1e-6)
