"""Budgets, against the examples and tables of the GUM and against closed forms."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from tautlog.model.uncertainty import (
    Budget,
    Part,
    extrapolation_u,
    one_pole_loss,
    rectangular,
    sampling_loss,
    student_t,
)


def budget(*parts):
    return Budget("x", "1", 0.0, tuple(Part("", u, "B", freedom) for u, freedom in parts))


def test_gum_example_h1():
    """JCGM 100:2008, H.1, end-gauge calibration: u_c = 32 nm as printed.

    Effective degrees of freedom 16, t99 = 2.92 and U99 = 93 nm are from memory; between
    our 92.5 and 93.5 with the rounded u_c lies the printed one.
    """
    alpha = 50_000_623.0 * 0.1 * 1e-6 / math.sqrt(3)
    theta = 50_000_623.0 * 11.5e-6 * 0.05 / math.sqrt(3)
    found = budget((25.0, 18), (5.8, 24), (3.9, 5), (6.7, 8), (alpha, 50), (theta, 2))
    assert found.combined_u == pytest.approx(32.0, abs=0.5)
    assert found.combined_u == pytest.approx(31.663879111008633, rel=1e-6)
    assert found.freedom == pytest.approx(16.75, abs=0.05)
    assert student_t(0.99, found.freedom) * found.combined_u == pytest.approx(93.0, abs=1.0)


# JCGM 100:2008, table G.2: probability, degrees of freedom, t. The first five are printed
# there (as quoted by public libraries), the rest from memory.
T_TABLE = [
    (0.6827, 1, 1.84),
    (0.95, 1, 12.71),
    (0.9973, 5, 5.51),
    (0.90, 20, 1.72),
    (0.9545, math.inf, 2.00),
    (0.9545, 1, 13.97),
    (0.99, 1, 63.66),
    (0.95, 10, 2.23),
    (0.9545, 10, 2.28),
    (0.99, 16, 2.92),
]


@pytest.mark.parametrize(("coverage", "freedom", "printed"), T_TABLE)
def test_student_t(coverage, freedom, printed):
    assert student_t(coverage, freedom) == pytest.approx(printed, abs=0.0051)


def test_degrees_of_freedom_are_truncated():
    assert student_t(0.9545, 16.9) == student_t(0.9545, 16)
    assert student_t(0.9545, 0.3) == student_t(0.9545, 1)


def test_a_force_by_the_procedure_of_the_gum():
    """Own numbers: 3000 N, 0.5 % (k = 2), 0.3 % of 5 kN, one of 4096 steps, s = 20 N of 5."""
    found = budget(
        (0.5 * 0.005 * 3000.0, math.inf),
        (rectangular(0.003 * 5000.0), math.inf),
        (rectangular(0.5 * 5000.0 / 4096), math.inf),
        (20.0 / math.sqrt(5), 4),
    )
    assert found.combined_u == pytest.approx(14.538713022247949, rel=1e-9)
    assert found.freedom == pytest.approx(27.924401, rel=1e-6)
    assert found.expanded_u == pytest.approx(30.486883271007354, rel=1e-6)


# Largest loss of a half-sine's peak between n samples, in per cent: closed form.
@pytest.mark.parametrize(
    ("samples", "percent"), [(3, 13.397460), (5, 4.894348), (10, 1.231166), (50, 0.049344)]
)
def test_sampling_loss(samples, percent):
    assert 100 * sampling_loss(samples) == pytest.approx(percent, abs=1e-6)


def test_one_sample_tells_no_peak():
    assert sampling_loss(0.5) == 1.0


# Peak ratio of a half-sine behind one pole, by bandwidth times length.
@pytest.mark.parametrize(
    ("product", "ratio"),
    [(0.5, 0.75620279), (1, 0.90137366), (2, 0.97030765), (5, 0.99503720), (20, 0.99968765)],
)
def test_one_pole_loss(product, ratio):
    assert 1 - one_pole_loss(product / 0.03, 0.03) == pytest.approx(ratio, abs=1e-6)


def test_one_pole_loss_by_a_filter():
    """A sampled pole of scipy on a sampled half-sine."""
    rate = 1e6
    pole = math.exp(-2 * math.pi * 120.0 / rate)
    pulse = np.sin(np.pi * np.arange(0, 0.042, 1 / rate) / 0.042)
    out = lfilter([1 - pole], [1, -pole], pulse)
    assert one_pole_loss(120.0, 0.042) == pytest.approx(1 - out.max(), abs=2e-5)


def test_what_grows_and_what_stays():
    assert extrapolation_u(900.0, 1000.0) == 0.0
    assert extrapolation_u(-3000.0, 1000.0) == pytest.approx(8.0)


def test_nothing_uncertain_has_no_spread():
    assert budget((0.0, 5)).expanded_u == 0.0
