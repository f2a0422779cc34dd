"""The code-density test against converters whose levels are known."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.calibrate.code_density import (
    BOW_RMS,
    EDGE_CODES,
    PIN_OHM,
    evaluate,
    expected_scatter,
    pin_u,
)
from tautlog.calibrate.knots import corners, fitted_knots
from tautlog.errors import CalibrationError
from tautlog.model.linearity import Linearity, published_linearity
from tautlog.model.published_steps import NOISE_FORCED_STEPS, NOISE_STEPS
from tautlog.rehearsal.converters import some_converter
from tautlog.rehearsal.density_test import SimulatedTest, Source, simulated_counts

DAY = "2026-05-01"
SHORT = SimulatedTest(ramps=4, ramp_s=0.4, held_conversions=5000)
IDEAL = Linearity(12, ((0.0, 0.0), (4096.0, 0.0)), 0.0, NOISE_STEPS, "ideal")


def counted(linearity, seed=1, test=SHORT, **source):
    return simulated_counts(linearity, replace(test, source=Source(**source)), seed)


def beside_line(codes, errors):
    """Errors without their best straight line, which is offset and gain."""
    return errors - np.polyval(np.polyfit(codes, errors, 1), codes)


def off(found, true):
    """Levels found less true levels: as counted, and as the table has them."""
    codes = found.codes
    errors = beside_line(codes, true.error_at(codes))
    return found.inl - errors, found.linearity.error_at(codes) - errors


def test_an_ideal_converter_has_none():
    found = evaluate(counted(IDEAL), DAY)
    assert found.doubts == found.remarks == found.wide_codes == ()
    assert np.mean(np.abs(found.inl) <= 2.0 * found.level_u) >= 0.94
    assert abs(found.inl).max() < 5.0 * found.level_u
    assert np.mean(np.abs(found.dnl) <= 2.0 * found.width_u) >= 0.94
    assert len(found.linearity.knots) < 10


def test_scatter_is_what_noise_explains():
    """Variance of a count of Bernoulli trials, summed over a uniform ramp: noise / sqrt(pi)."""
    found = evaluate(counted(IDEAL), DAY)
    conversions = SHORT.ramp_s * SHORT.conversion_rate_hz
    one_ramp = expected_scatter(NOISE_STEPS, conversions / (4096 + 40))
    assert found.level_u == pytest.approx(one_ramp / math.sqrt(SHORT.ramps), rel=0.1)


@pytest.mark.parametrize("chip", ["RP2040", "RP2350"])
def test_a_published_table_comes_back(chip):
    """Five boards were measured by others, see model/published_steps."""
    true = published_linearity(chip)
    found = evaluate(counted(true), DAY)
    as_counted, as_kept = off(found, true)
    assert np.mean(np.abs(as_counted) <= 2.0 * found.level_u) == pytest.approx(0.9545, abs=0.02)
    assert math.sqrt(np.mean(as_kept**2)) < 0.1
    assert found.wide_codes == ((511, 1535, 2559, 3583) if chip == "RP2040" else ())
    assert found.noise_saving == pytest.approx(NOISE_STEPS, abs=0.03)
    assert found.noise_forced == pytest.approx(NOISE_FORCED_STEPS, abs=0.03)


def test_an_own_reference_below_the_pin_s_high_level_changes_nothing():
    """3.0 V at ADC_VREF, the front end's, while the ramp goes on to 3.3 V."""
    true = published_linearity("RP2040")
    counts = counted(true, high_over_reference=1.1)
    assert any(one.counts[-1] for one in counts.held)  # a constant level lies beyond
    found = evaluate(counts, DAY)
    as_counted, as_kept = off(found, true)
    assert found.doubts == found.remarks == ()
    assert np.mean(np.abs(as_counted) <= 2.0 * found.level_u) == pytest.approx(0.9545, abs=0.02)
    assert math.sqrt(np.mean(as_kept**2)) < 0.1
    assert found.wide_codes == (511, 1535, 2559, 3583)
    assert found.noise_saving == pytest.approx(NOISE_STEPS, abs=0.03)
    assert found.source_u < 0.3


def test_a_width_of_ten_steps_is_found_where_it_is():
    """RP2040-E11: the code below 512 is some nine steps too wide, its neighbours are not."""
    true = Linearity(
        12, ((0.0, 0.0), (511.0, -4.0), (512.0, 5.0), (4096.0, 0.0)), 0.0, NOISE_STEPS, "one step"
    )
    found = evaluate(counted(true), DAY)
    place = int(found.dnl.argmax())
    assert found.codes[place] == 511
    assert found.dnl[place] == pytest.approx(9.0, abs=3.0 * found.width_u)
    assert abs(np.delete(found.dnl, place)).max() < 5.0 * found.width_u
    # The table has a knot on either side.
    assert {511.0, 512.0} <= {code for code, _ in found.linearity.knots}


@pytest.mark.wide
def test_intervals_hold_the_truth_over_random_tables():
    """Random boards of both chips; the ramp's bows are drawn as `source_u` states them."""
    rng = np.random.default_rng(14)
    inside = []
    half_width = 0.25 * 4096 * PIN_OHM / 10_000.0
    for seed in range(40):
        true = some_converter(("RP2040", "RP2350")[seed % 2], seed)
        source = {
            "bow_steps": half_width * rng.uniform(-1.0, 1.0),
            "load_bow_steps": rng.normal(0.0, 0.3),
            "lag_change": 0.2,
        }
        found = evaluate(counted(true, seed, **source), DAY)
        assert not found.doubts
        _, as_kept = off(found, true)
        inside.append(np.mean(np.abs(as_kept) <= 2.0 * found.linearity.u_steps))
    assert 0.95 <= np.mean(inside) <= 0.99


def test_a_bow_is_as_large_as_stated():
    """A parabola of height 1 lies 2 / (3 sqrt 5) rms beside its best line (closed form)."""
    share = np.linspace(0.0, 1.0, 100_001)
    bow = 4.0 * share * (1.0 - share)
    assert math.sqrt(np.mean(beside_line(share, bow) ** 2)) == pytest.approx(BOW_RMS, abs=1e-3)
    assert 2.0 / (3.0 * math.sqrt(5.0)) == pytest.approx(BOW_RMS, abs=1e-3)
    assert pin_u(12, 5000.0) == pytest.approx(2.0 * pin_u(12, 10_000.0))


def test_the_load_of_conversions_is_seen():
    """A bow of 1 step that comes with conversions alone; a straight shift is gain."""
    straight = evaluate(counted(IDEAL, load_steps=15.0), DAY)
    bent = evaluate(counted(IDEAL, load_steps=15.0, load_bow_steps=1.0), DAY)
    assert straight.source_u < 0.15
    seen = math.sqrt(bent.source_u**2 - pin_u(12, 10_000.0) ** 2)
    assert seen == pytest.approx(BOW_RMS, rel=0.4)
    without = replace(counted(IDEAL), held=counted(IDEAL).held[:5])
    assert any("was not measured" in doubt for doubt in evaluate(without, DAY).doubts)


def test_what_lags_goes_from_the_mean_of_both_directions():
    """A capacitor that loses half of itself over the range bends rising and falling ramps."""
    found = evaluate(counted(IDEAL, lag_steps=16.0, lag_change=0.5), DAY)
    assert found.hysteresis > 5.0 * found.level_u
    assert abs(found.inl).max() < 5.0 * found.level_u
    assert found.linearity.u_steps > found.hysteresis / math.sqrt(3.0)


# Doubts


def test_a_flat_input_is_no_test():
    flat = np.zeros((4, 4096), np.int64)
    flat[:, 2000:2006] = 10_000
    with pytest.raises(CalibrationError, match="cover codes 2000 to 2005 of 4096: check R, C"):
        evaluate(replace(counted(IDEAL), ramps=flat), DAY)
    with pytest.raises(CalibrationError, match="cover codes 0 to 0"):
        evaluate(replace(counted(IDEAL), ramps=0 * flat), DAY)


def test_ramps_of_one_direction_have_no_scatter():
    counts = counted(IDEAL)
    with pytest.raises(CalibrationError, match="3 rising and 1 falling"):
        evaluate(replace(counts, rising=(True, True, True, False)), DAY)


def spoilt(counts, how):
    ramps = counts.ramps.copy()
    if how == "short":
        ramps[:, 3900:] = 0
        return replace(counts, ramps=ramps)
    if how == "missing":
        ramps[:, 1000:1040:2] = 0
        return replace(counts, ramps=ramps)
    if how == "errors":
        return replace(counts, errors=int(ramps.sum()) // 500)
    if how == "silent":
        return replace(counts, held=())
    # A level that wanders over 60 steps while it is held.
    wide = np.zeros(4096, np.int64)
    wide[2000:2060] = 100
    return replace(counts, held=(replace(counts.held[0], counts=wide),))


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("short", r"codes 0 to 3899 only"),
        ("missing", r"20 codes never came, 1000, 1002"),
        ("errors", r"conversions did not settle"),
        ("silent", r"its noise is not known"),
        ("wandering", r"a noise of 17\.\d steps rms is no converter's"),
    ],
)
def test_what_is_doubted(how, said):
    found = evaluate(spoilt(counted(IDEAL), how), DAY)
    assert any(re.search(said, doubt) for doubt in found.doubts)


@pytest.mark.parametrize(
    ("source", "test", "said"),
    [
        ({"drift_steps": 8.0}, SHORT, "ramps disagree by"),
        ({"lag_steps": 40.0, "lag_change": 1.0}, SHORT, "rising and falling ramps differ by"),
        ({}, replace(SHORT, ramp_s=0.1), "counts a step in one ramp"),
    ],
)
def test_ramps_that_are_doubted(source, test, said):
    found = evaluate(counted(IDEAL, test=test, **source), DAY)
    assert any(said in doubt for doubt in found.doubts)


def test_a_level_that_creeps_is_doubted_not_failed():
    """Slow levels hundreds of steps off, as where nothing had settled."""
    counts = counted(IDEAL)
    held = list(counts.held)
    crept = next(n for n, one in enumerate(held) if one.slow and one.level == 2048.0)
    held[crept] = replace(held[crept], counts=np.roll(held[crept].counts, 700))
    found = evaluate(replace(counts, held=tuple(held)), DAY)
    assert any("the conversions bend the ramp by" in doubt for doubt in found.doubts)


def test_a_few_missing_codes_are_told_only():
    counts = counted(IDEAL)
    ramps = counts.ramps.copy()
    ramps[:, 3000] = 0
    found = evaluate(replace(counts, ramps=ramps), DAY)
    assert found.doubts == ()
    assert found.remarks == ("1 codes never came: 3000",)
    assert found.counts_per_code[0] == 0.0


def test_edges_are_left_out():
    found = evaluate(counted(IDEAL), DAY)
    assert found.codes[0] == EDGE_CODES
    assert found.codes[-1] == 4095 - EDGE_CODES - 1


# Knots


@given(
    st.lists(st.floats(-50.0, 50.0), min_size=2, max_size=80),
    st.floats(0.05, 5.0),
)
def test_no_point_lies_further_off_than_the_tolerance(values, tolerance):
    values = np.array(values)
    places = corners(values, tolerance)
    at = np.arange(values.size)
    assert abs(np.interp(at, places, values[places]) - values).max() <= tolerance + 1e-9
    assert (places[0], places[-1]) == (0, values.size - 1)


def test_a_step_between_neighbours_has_two_knots():
    codes = np.arange(100, 200)
    errors = np.where(codes < 150, -4.0, 5.0)
    knots, left = fitted_knots(codes, errors, 0.2)
    assert knots == ((100.0, -4.0), (149.0, -4.0), (150.0, 5.0), (199.0, 5.0))
    assert left < 1e-9


def test_too_many_knots_widen_the_tolerance():
    rng = np.random.default_rng(5)
    codes = np.arange(64, 1300)
    errors = rng.normal(0.0, 3.0, codes.size)
    knots, left = fitted_knots(codes, errors, 0.2)
    assert 100 < len(knots) <= 512
    assert left > 0.2
