"""The rehearsed cell, amplifier and converter against what is known of such chains."""

import math

import numpy as np
import pytest

from tautlog.rehearsal.electronics import Chain, Digitiser, chain_for_range

QUIET = {"noise_v": 0.0, "converter_noise_lsb": 0.0}


def digitised(chain, force_n, *, size=20_000, reduction=8, seed=1):
    digitiser = Digitiser(chain, sample_rate_hz=62500.0, reduction=reduction, seed=seed)
    digitiser.apply(lambda time_s: np.full(time_s.shape, float(force_n)))
    return np.concatenate([digitiser.counts(size // 4) for _ in range(4)])[200:]


@pytest.mark.parametrize("reduction", [1, 8, 16])
def test_counts_are_volts_over_steps_summed(reduction):
    chain = Chain(**QUIET)
    counts = digitised(chain, 1000.0, reduction=reduction)
    volts = counts.mean() * 3.3 / 4096 / reduction
    assert volts == pytest.approx(0.45 + 1.0, abs=3.3 / 4096)


@pytest.mark.parametrize("reduction", [1, 2, 8, 16])
def test_16_bits_are_averaged_and_rounded(reduction):
    """A mean of codes between two steps comes out at the nearer, a half upwards."""
    chain = Chain(converter_bits=16, **QUIET)
    counts = digitised(chain, 1000.0, reduction=reduction)
    assert np.unique(counts).tolist() == [round(1.45 / 3.3 * 65536)]
    digitiser = Digitiser(chain, sample_rate_hz=31250.0, reduction=reduction, seed=1)
    assert digitiser.full_scale == 65536
    random = np.random.default_rng(4).integers(0, 65536, (500, reduction))
    expected = [(sum(one) + reduction // 2) // reduction for one in random.tolist()]
    assert digitiser._reduced(random.ravel().astype(float)).tolist() == expected


def test_quantisation_is_a_step():
    counts = digitised(Chain(**QUIET), 1000.0, reduction=1)
    assert len(np.unique(counts)) == 1


@pytest.mark.parametrize("reduction", [1, 8])
def test_noise_is_what_it_says(reduction):
    """White noise falls with the square root of the conversions that are summed.

    Quantisation counts as step / sqrt(12) (W. R. Bennett, Bell System Tech. J. 27 (1948) 446).
    """
    chain = Chain(noise_v=0.003)
    counts = digitised(chain, 500.0, reduction=reduction, size=60_000)
    seen_v = counts.std() * chain.step_v / reduction
    steps = chain.converter_noise_lsb**2 + 1 / 12
    told_v = math.sqrt((0.003**2 + steps * chain.step_v**2) / reduction)
    assert seen_v == pytest.approx(told_v, rel=0.05)


def test_the_rail_cuts_below_full_scale():
    chain = Chain(rail_high_v=2.0, **QUIET)
    counts = digitised(chain, 5000.0, reduction=8)
    assert counts.max() == pytest.approx(2.0 / chain.step_v * 8, abs=8)
    assert chain.clips(1600.0)
    assert not chain.clips(1500.0)


def test_the_converter_ends_at_full_scale():
    chain = Chain(rail_high_v=9.0, **QUIET)
    assert digitised(chain, 9000.0, reduction=8).max() == 4095 * 8


def test_reversed_cell_lowers_the_counts():
    chain = Chain(newton_per_volt=-1000.0, zero_v=2.0, **QUIET)
    assert digitised(chain, 800.0).mean() < digitised(chain, 0.0).mean()


@pytest.mark.parametrize("hz", [200.0, 1000.0, 2000.0])
def test_bandwidth_is_that_of_one_pole(hz):
    """Gain 1 / sqrt(1 + (f / f_c)^2)."""
    chain = Chain(bandwidth_hz=2000.0, zero_v=1.6, **QUIET)
    digitiser = Digitiser(chain, sample_rate_hz=62500.0, reduction=1, seed=1)
    digitiser.apply(lambda time_s: 1000.0 * np.sin(2 * np.pi * hz * time_s))
    counts = digitiser.counts(40_000)[2000:].astype(float)
    seen = math.sqrt(2) * (counts - counts.mean()).std() * chain.step_v
    assert seen == pytest.approx(1 / math.sqrt(1 + (hz / 2000.0) ** 2), rel=0.02)


def test_hum_has_its_frequency():
    chain = Chain(mains_v=0.02, mains_hz=50.0, zero_v=1.5, **QUIET)
    counts = digitised(chain, 0.0, size=62_500).astype(float)
    spectrum = np.abs(np.fft.rfft(counts - counts.mean()))
    hz = np.fft.rfftfreq(counts.size, 1 / 62500.0)
    assert hz[np.argmax(spectrum)] == pytest.approx(50.0, abs=1.0)


def test_the_same_seed_gives_the_same_counts():
    one, two, three = (digitised(Chain(), 100.0, seed=seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(one, two)
    assert (one != three).any()


def test_pieces_join_without_a_seam():
    """Whatever pieces the board asks for, the signal is the same."""
    make = {"sample_rate_hz": 62500.0, "reduction": 8, "seed": 3}
    whole, pieces = (Digitiser(Chain(), **make) for _ in range(2))
    for one in (whole, pieces):
        one.apply(lambda time_s: 300.0 * np.sin(40.0 * time_s))
    joined = np.concatenate([pieces.counts(n) for n in (1, 63, 64, 500, 372)])
    np.testing.assert_allclose(joined.mean(), whole.counts(1000).mean(), rtol=1e-3)


def test_range_fits():
    chain = chain_for_range(2700.0)
    assert not chain.clips(2700.0)
    assert chain.clips(1.3 * 2700.0)
