"""HELD is said of drops: a slow pull of a hanging sled is none."""

import numpy as np
import pytest
from traces import arrest, plain, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup

RATE_HZ = 2000.0
SLED = DropSetup(mass_kg=10.0, height_m=1.5, target_n=3000.0)


def pulled_by_hand(peak_n, pull_s, weight_n=10.0 * G):
    """A slack line, a pull as slow as hands or a hoist, and the sled hanging still."""
    time_s = np.arange(int((8.0 + pull_s) * RATE_HZ)) / RATE_HZ - 2.0
    inside = (time_s > 0.0) & (time_s < pull_s)
    pull_n = np.where(inside, peak_n * np.sin(np.pi * np.clip(time_s / pull_s, 0.0, 1.0)), 0.0)
    hung_n = np.where(time_s > pull_s / 2, weight_n, 0.0)
    noise_n = np.random.default_rng(1).normal(0.0, 0.5, time_s.size)
    return plain(np.maximum(pull_n, hung_n) + 40.0 + noise_n, RATE_HZ, quantum_n=0.1)


@pytest.mark.parametrize("pull_s", [0.2, 3.0, 8.0])
@pytest.mark.parametrize("peak_n", [150.0, 300.0, 1500.0])
def test_a_slow_pull_says_nothing_of_the_load_path(peak_n, pull_s):
    verdict = judge(mark(pulled_by_hand(peak_n, pull_s), SLED), SLED)
    assert verdict.trace_says == "unclear"
    (why,) = [one.text for one in verdict.reasons if one.code == "trace-unclear"]
    assert "it is open whether it was a drop" in why


def test_nor_does_one_after_a_release_if_no_fall_can_have_given_it():
    trace = pulled_by_hand(1500.0, 8.0)
    verdict = judge(mark(plain(trace.force_n, RATE_HZ, release_time_s=1.5), SLED), SLED)
    assert verdict.record_verdict == "invalid"
    assert verdict.trace_says == "unclear"


def test_a_drop_without_a_release_and_with_rebounds_held():
    force_n = arrest(10.0, 1.5, 29_000.0, 0.1)[1]
    trace = recorded(force_n)
    imported = plain(trace.force_n, trace.sample_rate_hz, quantum_n=0.1)
    assert judge(mark(imported, SLED), SLED).trace_says == "held"
