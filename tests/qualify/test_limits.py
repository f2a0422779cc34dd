"""Bounds and limits, against published tables, closed forms and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, binom, binomtest, weibull_min

from tautlog.errors import StatementError
from tautlog.qualify.shares import articles_needed, lower_share, success_run
from tautlog.qualify.tolerance import normal_lower_limit, one_sided_factor
from tautlog.qualify.weibull import fit_weibull, weibull_lower_limit

shares = st.floats(0.5, 0.99)


@pytest.mark.parametrize(
    ("reliability", "confidence", "articles"),
    [
        # 22 for 90 % at 90 %: "Understanding success testing", 2015-12-16, at qualitydigest.com.
        (0.90, 0.90, 22),
        # 59 for 95 % at 95 %, 29 for 90 % at 95 %, 299 for 99 % at 95 %: ln(1 - C) / ln R.
        (0.95, 0.95, 59),
        (0.90, 0.95, 29),
        (0.99, 0.95, 299),
    ],
)
def test_success_run(reliability, confidence, articles):
    assert success_run(reliability, confidence) == articles
    assert articles_needed(reliability, confidence) == articles


# With failures; the sizes of Wilks' order statistics, one-sided 95/95: 59, 93, 124 (also 90/90
# with one failure: 38). From memory, and each is checked with the binomial sum itself below.
@pytest.mark.parametrize(
    ("reliability", "confidence", "failures", "articles"),
    [(0.95, 0.95, 1, 93), (0.95, 0.95, 2, 124), (0.90, 0.90, 1, 38)],
)
def test_articles_with_failures(reliability, confidence, failures, articles):
    assert articles_needed(reliability, confidence, failures) == articles


@given(reliability=shares, confidence=shares, failures=st.integers(0, 3))
def test_needed_articles_are_the_fewest_by_the_binomial_sum(reliability, confidence, failures):
    n = articles_needed(reliability, confidence, failures)
    chance = 1.0 - reliability
    assert binom.cdf(failures, n, chance) <= 1.0 - confidence + 1e-9
    assert n == failures + 1 or binom.cdf(failures, n - 1, chance) > 1.0 - confidence - 1e-9


@given(n=st.integers(1, 200), stood=st.integers(0, 200), confidence=shares)
def test_lower_share_is_scipys_exact_one_sided_bound(n, stood, confidence):
    stood = min(stood, n)
    wanted = binomtest(stood, n, alternative="greater").proportion_ci(confidence, "exact").low
    assert lower_share(stood, n, confidence) == pytest.approx(wanted, abs=1e-9)


# Factors for B-basis and A-basis, CMH-17-1G (MIL-HDBK-17-1F, tables 8.5.10 and 8.5.11), as the
# tests of the R package cmstatr cite them.
BASIS = {
    2: (20.581, 37.094),
    3: (6.157, 10.553),
    5: (3.408, 5.741),
    10: (2.355, 3.981),
    15: (2.069, 3.520),
    20: (1.927, 3.295),
    30: (1.778, 3.064),
    60: (1.609, 2.807),
}


@pytest.mark.parametrize("n", BASIS)
def test_tolerance_factors_are_those_of_the_handbook(n):
    for share, factor in zip((0.90, 0.99), BASIS[n], strict=True):
        assert one_sided_factor(n, share, 0.95) == pytest.approx(factor, abs=0.002)


def test_tolerance_factors_elsewhere():
    # n = 50, 0.95 / 0.95: 2.064993399768, table 2.065 (README of github.com/groskwik/Owen, after
    # nrc.gov ML14031A495). n = 40, 0.90 / 0.99: 1.9017 (real-statistics.com, tolerance interval).
    assert one_sided_factor(50, 0.95, 0.95) == pytest.approx(2.064993399768, rel=1e-7)
    assert one_sided_factor(40, 0.90, 0.99) == pytest.approx(1.9017, abs=5e-5)
    # NIST/SEMATECH e-Handbook 7.2.6.3, n = 43: 1.8752, by its approximation.
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8752, rel=1e-3)


# Eighteen strengths and their basis values by the program STAT-17 of MIL-HDBK-17, as the tests of
# the R package cmstatr cite them.
STRENGTHS = (
    *(137.4438, 139.5395, 150.89, 141.4474, 141.8203, 151.8821, 143.9245, 132.9732, 136.6419),
    *(138.1723, 148.7668, 143.283, 143.5429, 141.7023, 137.4732, 152.338, 144.1589, 128.5218),
)


@pytest.mark.parametrize(("share", "limit"), [(0.90, 129.287), (0.99, 120.336)])
def test_normal_basis_values(share, limit):
    assert normal_lower_limit(STRENGTHS, share, 0.95) == pytest.approx(limit, rel=5e-4)


@pytest.mark.parametrize(("share", "limit"), [(0.90, 125.441), (0.99, 109.150)])
def test_weibull_basis_values(share, limit):
    """The handbook's factor is an approximation; 0.2 % off."""
    assert weibull_lower_limit(STRENGTHS, (), share, 0.95) == pytest.approx(limit, rel=2e-3)


BROKE = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)


def test_weibull_with_suspensions():
    # NIST/SEMATECH e-Handbook 8.4.1.3: ten failed, ten were stopped at 500.
    fitted = fit_weibull(BROKE, [500.0] * 10)
    assert fitted.shape == pytest.approx(1.7208, abs=1e-4)
    assert fitted.scale_n == pytest.approx(606.5280, abs=1e-3)


@pytest.mark.parametrize("loads", [[], [200.0, 350.0, 500.0], [380.0] * 6])
def test_weibull_fit_is_scipys(loads):
    found = fit_weibull(BROKE, loads)
    shape, _, scale = weibull_min.fit(CensoredData(uncensored=BROKE, right=loads), floc=0)
    assert found.shape == pytest.approx(shape, rel=2e-3)
    assert found.scale_n == pytest.approx(scale, rel=2e-3)


def test_suspended_results_above_help_and_below_say_nothing():
    alone = weibull_lower_limit(BROKE, (), 0.9, 0.9)
    assert weibull_lower_limit(BROKE, [386.0] * 10, 0.9, 0.9) > alone
    assert weibull_lower_limit(BROKE, [10.0] * 10, 0.9, 0.9) == pytest.approx(alone, rel=1e-2)


def test_more_confidence_or_more_parts_is_a_lower_limit():
    limits = [weibull_lower_limit(BROKE, (), 0.9, one) for one in (0.5, 0.9, 0.95, 0.99)]
    limits += [weibull_lower_limit(BROKE, (), one, 0.99) for one in (0.95, 0.99)]
    assert limits == sorted(limits, reverse=True)


@pytest.mark.parametrize("normal", [True, False])
def test_limits_hold_as_often_as_they_say(normal):
    """600 samples of ten, by numpy's own generators: 90 % of the limits lie below the truth."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(600):
        if normal:
            limit = normal_lower_limit(rng.normal(3000.0, 240.0, 10), 0.9, 0.9)
            true = 3000.0 - 1.2815516 * 240.0
        else:
            limit = weibull_lower_limit(3000.0 * rng.weibull(12.0, 10), (), 0.9, 0.9)
            true = 3000.0 * (-math.log(0.9)) ** (1 / 12.0)
        held += limit <= true
    assert 0.87 <= held / 600 <= 0.93


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: lower_share(3, 2, 0.9),
        lambda: lower_share(0, 0, 0.9),
        lambda: lower_share(1, 1, 1.0),
        lambda: lower_share(1, 1, math.nan),
        lambda: articles_needed(1.0, 0.9),
        lambda: articles_needed(0.9, 0.9, -1),
        lambda: articles_needed(0.9999999, 0.9999),
        lambda: success_run(True, 0.9),
        lambda: one_sided_factor(1, 0.9, 0.9),
        lambda: normal_lower_limit([1.0, 2.0], 0.9, 0.9),
        lambda: normal_lower_limit([1.0, 2.0, math.nan], 0.9, 0.9),
        lambda: normal_lower_limit([1.0, 2.0, 0.0], 0.9, 0.9),
        lambda: fit_weibull([5.0, 5.0]),
        lambda: fit_weibull([5.0, -1.0]),
        lambda: fit_weibull([5.0]),
        lambda: weibull_lower_limit([5.0, 6.0, 7.0], [], 0.9, 0.9),
        lambda: weibull_lower_limit([5.0] * 6, [], 0.9, 0.9),
        lambda: weibull_lower_limit(list(range(1, 700)), [], 0.9, 0.9),
    ],
)
def test_what_makes_no_sense_is_refused(wrong):
    with pytest.raises(StatementError):
        wrong()
