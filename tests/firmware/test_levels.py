"""Where the force signal must lie before the board arms, by its config and by the laptop."""

import numpy as np
import pytest
from configs import Changed
from fakes.board import NOISE, QUIET, Bench
from hypothesis import given
from hypothesis import strategies as st

import config
import wire
from commands import Malformed
from levels import Levels

STEP_V = 3.3 / 4096  # of the default converter
STILL = [0]  # no noise at all
SMALL = [0, 1, 3, 5, 8, 11, 13, 9, 6, 4, 2]  # of the converter alone, half a step rms
# What the laptop of the default chain would send: 0.45 V, rails at 0.04 and 3.21 V.
CHAIN = {"rail_low": 496, "rail_high": 31870, "level_low": 3970, "level_high": 4970}


def counts(volts):
    return round(volts / STEP_V) * config.REDUCTION


def armed(level, noise=NOISE, **fields):
    """Names of the reasons, or nothing where it arms."""
    bench = Bench()
    bench.board.level, bench.board.noise = level, noise
    bench.run(8)
    answer = bench.ask("arm", by="drive", **fields)
    assert answer["ok"] == (bench.state == wire.ARMED)
    if "error" in answer and answer["error"] != "refused":
        return {answer["error"]}
    return {wire.REASONS[number][0] for number in answer.get("reasons", [])}


@pytest.mark.parametrize("noise", [STILL, SMALL, NOISE], ids=["still", "small", "noisy"])
@pytest.mark.parametrize("volts", [0.0, 0.04, 0.055, 3.21, 3.29])
def test_a_parked_chain_is_refused_by_the_delivered_config(volts, noise):
    """Without a word of the laptop."""
    assert armed(counts(volts), noise) == {"signal-clipped"}


@pytest.mark.parametrize("noise", [STILL, SMALL], ids=["still", "converter only"])
@pytest.mark.parametrize("volts", [0.45, 1.1, 1.65, 2.85])
def test_a_still_chain_is_refused_by_the_delivered_config(volts, noise):
    assert armed(counts(volts), noise) == {"signal-dead"}


@pytest.mark.parametrize("volts", [0.1, 0.45, 1.65, 2.85, 3.1])
def test_a_living_chain_arms(volts):
    assert armed(counts(volts)) == set()


@pytest.mark.parametrize(
    ("volts", "fields", "reasons"),
    [
        (0.45, CHAIN, set()),
        (1.1, CHAIN, {"signal-off-zero"}),
        (0.36, CHAIN, {"signal-off-zero"}),
        (0.45, {**CHAIN, "least_span": 25}, {"signal-dead"}),
        (0.45, {**CHAIN, "rail_low": 4480}, {"signal-clipped"}),
        (0.45, {"rail_high": 4490}, {"signal-clipped"}),
        (1.1, {**CHAIN, "least_span": 25}, {"signal-off-zero", "signal-dead"}),
        # Laxer than the config: the config holds.
        (0.04, {"rail_low": 1, "level_low": 1}, {"signal-clipped"}),
        (3.21, {"rail_high": 32760, "level_high": 32760}, {"signal-clipped"}),
    ],
)
def test_the_stricter_of_config_and_laptop_holds(volts, fields, reasons):
    assert armed(counts(volts), **fields) == reasons


@pytest.mark.parametrize(
    "fields",
    [
        {"rail_low": -1},
        {"rail_low": 32761},
        {"rail_high": 40000},
        {"least_span": 1 << 31},
        {"rail_low": 5.0},
        {"rail_low": "5"},
        {"rail_low": None},
        {"rail_low": True},
        {"rail_low": [5]},
        {"rail_low": 500, "rail_high": 500},
        {"level_low": 600, "level_high": 500},
        {"rail_low": 900, "level_high": 800},
        {"level_low": 900, "rail_high": 800},
        {"levels": 900},
    ],
    ids=str,
)
def test_limits_that_make_no_sense_are_refused(fields):
    assert armed(QUIET, **fields) == {"bad-value"}


def test_the_rails_of_the_laptop_hold_while_armed():
    bench = Bench()
    bench.run(8)
    assert bench.ask("arm", by="drive", **CHAIN, rail_high_=0)["error"] == "bad-value"
    assert bench.ask("arm", by="drive", **{**CHAIN, "rail_high": 5200})["ok"]
    bench.run(3)
    bench.board.level = 5190
    bench.run(1)
    assert bench.state == wire.SAFE
    assert bench.instrument.states.reason == wire.SIGNAL_CLIPPED


def test_the_limits_of_an_earlier_arming_are_forgotten():
    bench = Bench()
    bench.run(8)
    assert not bench.ask("arm", by="drive", least_span=1000)["ok"]
    bench.run(1)
    assert bench.ask("arm", by="drive")["ok"]


LIMIT = st.integers(0, 4095 * config.REDUCTION)


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(["rail_low", "level_low"], LIMIT)))
def test_limits_only_ever_become_stricter(fields):
    plain, used = Levels(config), Levels(config)
    used.use(fields)
    assert used.rail_low == max(plain.rail_low, fields.get("rail_low", 0))
    assert used.level_low == max(plain.level_low, fields.get("level_low", 0))
    assert (used.rail_high, used.level_high) == (plain.rail_high, plain.level_high)


def test_the_least_span_lies_between_the_converter_and_the_default_chain():
    """Half a step of noise, and 1.5 mV on top: white, summed 8 to 1, 16 blocks of 1024."""
    source = np.random.default_rng(5)
    spans = {}
    for name, steps in (("converter", 0.0), ("chain", 0.0015 / STEP_V)):
        volts = 558.3 + source.normal(0.0, np.hypot(0.5, steps), (16 * 1024, 8))
        spans[name] = np.ptp(np.rint(volts).sum(axis=1))
    least = config.LEAST_SPAN * config.REDUCTION
    assert spans["converter"] < least < 0.5 * spans["chain"]


SIXTEEN = {"CONVERTER_BITS": 16, "LEAST_SPAN": 8}


def test_the_levels_of_16_bits_are_the_same_voltages():
    """Means of 16 bits have twice the counts of sums of eight times 12, their steps are finer."""
    ours, theirs = Levels(Changed(config, SIXTEEN)), Levels(config)
    for name in ("rail_low", "rail_high", "level_low", "level_high"):
        assert getattr(ours, name) / 65536 == getattr(theirs, name) / 32768
    assert ours.rail_low == config.SIGNAL_LOWEST * 16
    assert ours.least_span == 8
    assert theirs.least_span == config.LEAST_SPAN * 8
    ours.use({"rail_high": 60_000, "least_span": 11})
    assert (ours.rail_high, ours.least_span) == (60_000, 11)
    with pytest.raises(Malformed, match="0 to 65535, was 65536"):
        ours.use({"rail_high": 65_536})


@pytest.mark.parametrize(
    ("level", "noise", "reasons"),
    [
        (8960, NOISE, set()),  # 0.45 V
        (0, [0], {"signal-clipped"}),  # data stuck low
        (65_535, [0], {"signal-clipped"}),  # data stuck high, or its wire open
        (8960, [0, 1, 2, 3, 1, 0, 2], {"signal-dead"}),  # the converter's own noise
        (8960, [0, 0, 5000], {"signal-restless"}),
    ],
)
def test_16_bits_are_judged_at_arming(level, noise, reasons):
    bench = Bench(**SIXTEEN)
    bench.board.level, bench.board.noise = level, noise
    bench.run(8)
    assert bench.ask("hello", wire=wire.VERSION)["bits"] == 16
    answer = bench.ask("arm", by="drive")
    assert {wire.REASONS[number][0] for number in answer.get("reasons", [])} == reasons
