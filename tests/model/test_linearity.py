"""Linearity of a converter: levels, wide codes, what samples stand for, texts that are none."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from tautlog.model.linearity import Linearity, conversion_noise, linearity_in, published_linearity
from tautlog.model.steps import steps_of

CHIP = published_linearity("RP2040")
NO_TABLE = r"converter|knots|steps can be|bits|line of text"
EQUAL = Linearity(12, ((0.0, 0.0), (4096.0, 0.0)), 0.1, 0.5, "an ideal converter")


def mean_code(linearity, level, noise):
    """Expected code of a level under normal noise: the sum of P(code k is reached)."""
    return float(ndtr((level - linearity.transitions) / noise).sum())


def test_codes_of_equal_steps_stand_for_themselves():
    for reduction in (1, 2, 8, 16):
        levels = EQUAL.levels(reduction)
        middle = slice(4 * reduction, -4 * reduction)
        ideal = np.arange(levels.size) / reduction
        assert np.abs(levels - ideal)[middle].max() < 0.02
    assert EQUAL.wide_codes == ()


def test_the_published_wide_codes_are_those_of_the_erratum():
    # RP2040-E11: 512, 1536, 2560 and 3584; about 9 steps of differential non-linearity (8.9
    # measured on another board, https://pico-adc.markomo.me), 7.9 of integral, peak.
    assert CHIP.wide_codes == (511, 1535, 2559, 3583)
    widths = np.diff(CHIP.transitions)
    assert max(widths[code - 1] for code in CHIP.wide_codes) - 1.0 == pytest.approx(8.9, abs=1.0)
    errors = CHIP.error_at(np.arange(21, 4075))
    assert np.abs(errors).max() < 7.9
    assert published_linearity("RP2350").wide_codes == ()
    assert published_linearity("RP9999") is None


@pytest.mark.parametrize("noise", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("reduction", [2, 8, 16])
def test_the_mean_of_noisy_conversions_gives_the_level_back(noise, reduction):
    random = np.random.default_rng(3)
    levels = CHIP.levels(reduction, noise)
    at = np.arange(levels.size) / reduction
    for level in random.uniform(50.0, 4000.0, 60):
        found = np.interp(mean_code(CHIP, level, max(noise, CHIP.noise_steps)), at, levels)
        # Within a wide code the noise hardly reaches its edges: there the table says how much.
        assert abs(found - level) < max(0.1, 2.0 * (CHIP.u_at(level) - CHIP.u_steps))


def test_a_single_conversion_stands_for_the_middle_of_its_code():
    levels = CHIP.levels(1)
    edges = CHIP.transitions
    assert levels[511] == pytest.approx(0.5 * (edges[510] + edges[511]))
    assert CHIP.u_at(levels[511]) == pytest.approx(
        math.hypot(CHIP.u_steps, (edges[511] - edges[510] - 1.0) / math.sqrt(12.0))
    )
    assert CHIP.u_at(700.0) == CHIP.u_steps


def test_noise_is_told_from_successive_samples():
    random = np.random.default_rng(4)
    for sigma in (0.5, 2.0):
        codes = np.rint(900.0 + random.normal(0.0, sigma, (40_000, 8)))
        found = conversion_noise(codes.sum(axis=1).astype(np.uint16), 8)
        assert found == pytest.approx(math.hypot(sigma, 1 / math.sqrt(12.0)), rel=0.1)
    assert conversion_noise(np.zeros(10, np.uint16), 8) is None


def test_it_is_kept_as_text():
    assert linearity_in(CHIP.text) == CHIP
    assert linearity_in("") is None


@given(st.text() | st.recursive(st.none() | st.floats() | st.text(), st.lists).map(json.dumps))
def test_any_other_text_is_refused(text):
    if text:
        with pytest.raises(ValueError, match=NO_TABLE):
            linearity_in(text)


@pytest.mark.parametrize(
    "change",
    [
        {"bits": 24},
        {"bits": "12"},
        {"knots": []},
        {"knots": [[5, 0]]},
        {"knots": [[5, 0], [5, 1]]},
        {"knots": [[5, 0], [4, 1]]},
        {"knots": [[0, 0], [9, math.nan]]},
        {"knots": [[0, 0], [9, 900]]},
        {"knots": [[-9, 0], [9, 1]]},
        {"knots": [[0, 0], [9000, 1]]},
        {"knots": [[0, 0]] * 5000},
        {"u_steps": -1.0},
        {"noise_steps": math.inf},
        {"source": None, "knots": None},
        {"source": "a\x1b[31m"},
        {"knots": [[64, 0], [100, 0], [101, -50], [4030, 0]]},  # levels that fall
        {"knots": [[0, -50], [4096, 50]]},  # gain, which is the calibration's
        {"knots": [[0, 0], [10**400, 0]]},
    ],
)
def test_no_converter_has_such_a_table(change):
    stored = json.loads(CHIP.text) | change
    with pytest.raises(ValueError, match=NO_TABLE):
        linearity_in(json.dumps(stored))


def test_a_deep_text_is_refused():
    with pytest.raises(ValueError, match=NO_TABLE):
        linearity_in("[" * 100_000)


def test_steps_that_are_not_known_are_doubted_more():
    known, unknown, even = (steps_of(word, 12) for word in ("RP2040", "", "even"))
    assert even.u_steps(1.0, 2.0) < known.u_steps(300.0, 700.0) < unknown.u_steps(300.0, 700.0)
    # Twice it covers the widest difference of two levels of the published mean.
    errors = CHIP.error_at(np.arange(21, 4075))
    assert 2.0 * unknown.u_steps() > np.ptp(errors)
    assert known.between(400.0, 700.0) == (511,)
    with pytest.raises(ValueError, match="16 bits"):
        steps_of("RP2040", 16)


def test_a_plain_reader_comes_to_the_same_levels():
    """The formula of the file format's text, outside of wide codes."""
    levels, at = CHIP.levels(8), np.arange(8 * 4095 + 1) / 8
    plain = at + CHIP.error_at(at + 0.5)
    beside = np.min([np.abs(at - code) for code in (0, *CHIP.wide_codes, 4095)], axis=0) > 4.0
    assert np.abs(plain - levels)[beside].max() < 0.25
