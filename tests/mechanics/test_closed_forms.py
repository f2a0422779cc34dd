"""Closed forms of a falling weight, against books and against themselves."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tautlog.mechanics import closed_forms as predict
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

LBF_N = 4.4482216152605
INCH_M = 0.0254


# Gere, Mechanics of Materials, 7th ed., problem 9.10-1: sigma_max / sigma_st. The
# printed solution has 4.33 at h / delta_st = 5, a misprint for 1 + sqrt(11) = 4.3166:
# hence the wider tolerance there, and nobody may tune the code to the table.
@pytest.mark.parametrize(
    ("ratio", "printed", "tolerance"),
    [(0, 2.00, 0.006), (2.5, 3.45, 0.006), (5, 4.33, 0.02), (7.5, 5.00, 0.006), (10, 5.58, 0.006)],
)
def test_gere_impact_factor(ratio: float, printed: float, tolerance: float) -> None:
    mass_kg, stiffness = 3.0, 20_000.0
    static_m = mass_kg * G / stiffness
    factor = predict.elastic_impact_peak_n(mass_kg, ratio * static_m, stiffness) / (mass_kg * G)
    assert factor == pytest.approx(printed, abs=tolerance)
    assert_allclose(factor, 1 + math.sqrt(1 + 2 * ratio), rtol=1e-12)


def test_wentzell_bar() -> None:
    # T. H. Wentzell, Machine Design, example 7.1: 500 lb fall 1 in on a steel bar of
    # 2 in diameter and 10 in length, E = 30e6 psi; printed stress 31061.50 psi.
    area_in2 = math.pi * 2.0**2 / 4
    stiffness_lbf_per_in = area_in2 * 30e6 / 10.0
    peak_n = predict.elastic_impact_peak_n(
        500 * LBF_N / G, INCH_M, stiffness_lbf_per_in * LBF_N / INCH_M
    )
    stress_psi = peak_n / LBF_N / area_in2
    assert stress_psi == pytest.approx(31061.50, abs=0.01)
    assert_allclose(peak_n / LBF_N / 500, 195.1651663998399, rtol=1e-12)


def test_suddenly_applied_load_is_twice_the_weight() -> None:
    assert predict.elastic_impact_peak_n(25.0, 0.0, 7677.0) == pytest.approx(490.3325, rel=1e-14)


# 25 kg, 2 m, 3 kN: integration of the equation of motion (DOP853, rtol 1e-12).
def test_published_case_of_the_undamped_arrest() -> None:
    stiffness = predict.stiffness_for_peak_n_per_m(25.0, 2.0, 3000.0)
    assert_allclose(stiffness, 7677.4459168013545, rtol=1e-12)
    assert_allclose(predict.elastic_impact_peak_n(25.0, 2.0, stiffness), 3000.0, rtol=1e-12)


@pytest.mark.parametrize(
    ("case", "peak_n"),
    [
        ((25, 2, 10_000), 3386.3056117825),
        ((10, 1, 5000), 1093.1956566537),
        ((5, 0.5, 2000), 366.0044783561),
        ((25, 0, 7677), 490.3325),
    ],
)
def test_more_arrests(case: tuple[float, float, float], peak_n: float) -> None:
    # Reference values printed to 13 or 14 digits.
    assert_allclose(predict.elastic_impact_peak_n(*case), peak_n, rtol=1e-12)


MASSES = st.floats(0.5, 100.0)
HEIGHTS = st.floats(0.01, 5.0)
STIFFNESSES = st.floats(500.0, 1e6)


@given(MASSES, HEIGHTS, STIFFNESSES)
def test_stiffness_is_the_inverse_of_the_peak(m: float, h: float, k: float) -> None:
    peak_n = predict.elastic_impact_peak_n(m, h, k)
    # The difference F - 2 m g loses digits when the height is small against the static stretch.
    lost = peak_n / (peak_n - 2 * m * G)
    assert_allclose(
        predict.stiffness_for_peak_n_per_m(m, h, peak_n), k, rtol=4e-15 * max(lost, 1.0) + 1e-14
    )


@given(MASSES, HEIGHTS, STIFFNESSES)
def test_energy_at_the_peak(m: float, h: float, k: float) -> None:
    stretch_m = predict.elastic_impact_peak_n(m, h, k) / k
    assert_allclose(0.5 * k * stretch_m**2, m * G * (h + stretch_m), rtol=1e-11)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: predict.elastic_impact_peak_n(0.0, 1.0, 1.0), "`mass_kg`"),
        (lambda: predict.elastic_impact_peak_n(1.0, -1.0, 1.0), "`height_m`"),
        (lambda: predict.elastic_impact_peak_n(1.0, 1.0, math.nan), "`stiffness_n_per_m`"),
        (lambda: predict.elastic_impact_peak_n(1.0, math.inf, 1.0), "`height_m`"),
        (lambda: predict.stiffness_for_peak_n_per_m(10.0, 1.0, 2 * 10 * G), "`peak_n`"),
        (lambda: predict.stiffness_for_peak_n_per_m(10.0, 0.0, 1000.0), "`height_m`"),
    ],
)
def test_bad_arguments(call, match: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=match):
        call()
