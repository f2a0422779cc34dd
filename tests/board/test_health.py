"""Health: hum is found with its frequency, and only where there is some."""

import numpy as np
import pytest

from tautlog.analysis.mains import mains_component

RATE_HZ = 62500.0
TIME_S = np.arange(int(0.52 * RATE_HZ)) / RATE_HZ


@pytest.mark.parametrize("hz", [49.5, 50.0, 60.0])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.5])
def test_hum_is_found(hz, phase):
    noise = np.random.default_rng(1).normal(0, 0.6, TIME_S.size)
    found_hz, amplitude_n = mains_component(
        440.0 + noise + 5.0 * np.sin(2 * np.pi * hz * TIME_S + phase), RATE_HZ
    )
    assert found_hz == pytest.approx(hz, abs=0.5)
    assert amplitude_n == pytest.approx(5.0, rel=0.03)


@pytest.mark.parametrize("seed", range(8))
def test_noise_alone_is_no_hum(seed):
    noise = np.random.default_rng(seed).normal(0, 0.6, TIME_S.size)
    assert mains_component(noise, RATE_HZ)[0] is None


def test_a_constant_is_no_hum():
    assert mains_component(np.full(TIME_S.size, 440.0), RATE_HZ) == (None, pytest.approx(0.0))


def test_health_of_a_rehearsed_board():
    from rehearsed import played

    from tautlog.board.health import read_health
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.model.calibration import Calibration
    from tautlog.rehearsal.process import BoardProcess

    with BoardProcess(played("mains-hum"), speed=8.0) as board, SerialLink(board.url) as link:
        session = Session(link)
        session.greet()
        # The hum crosses the wide code 511 of the simulated RP2040.
        health = read_health(session, Calibration(converter="RP2040"))
    assert health.mains_hz == pytest.approx(50.0, abs=0.5)
    assert health.mains_n == pytest.approx(0.03 * 1800 * 1000 / 979, rel=0.05)
    assert health.measured_rate_hz == pytest.approx(62500.0, rel=1e-4)
    assert [health.latched, health.key_on, health.article_whole, health.mount_whole] == [True] * 4
    assert health.second_channel_v is None
    assert health.excitation_v is None


def test_the_excitation_is_read_where_it_has_a_channel():
    """Three channels from the wire; the third is the monitor."""
    from dataclasses import replace

    from tautlog.board.health import _health_of
    from tautlog.board.messages import Status
    from tautlog.model.calibration import Calibration
    from tautlog.model.stream import Block, Instrument

    board = Instrument(
        *("0.1.0", "a board", "1"), RATE_HZ / 3, 8, ("force", "second", "excitation"), 512, 68
    )
    counts = np.tile(np.array([4480, 8000, 16380], dtype=np.uint16), (512, 1))
    blocks = [Block(number, number * 24576, 0, 0, counts) for number in range(3)]
    status = Status("safe", 0, 0, 0, 3, 0, 0, 0, 4480, 4480, 0)
    health = _health_of(blocks, status, Calibration(), board)
    # Eight conversions of 12 bits in a sample; the reference is 3.3 V.
    assert health.excitation_v == pytest.approx(16380 / 8 / 4096 * 3.3, rel=1e-3)
    assert health.second_channel_v == pytest.approx(8000 / 8 / 4096 * 3.3, rel=1e-3)
    narrow = [replace(one, counts=counts[:, :1]) for one in blocks]
    alone = replace(board, channels=("force",))
    assert _health_of(narrow, status, Calibration(), alone).excitation_v is None


@pytest.mark.parametrize("assumed", [12, 16])
def test_volts_are_those_of_the_converter_that_is_there(assumed):
    """A calibration that assumes another one would halve or double them: 0.75 V of 3.3 V."""
    from tautlog.board.health import _health_of
    from tautlog.board.messages import Status
    from tautlog.model.calibration import Calibration
    from tautlog.model.stream import Block, Instrument

    board = Instrument("0", "a", "1", 12500.0, 8, ("force",), 64, 68, converter_bits=16)
    count = round(0.75 / 3.3 * 65536)
    counts = np.full((64, 1), count, dtype=np.uint16)
    blocks = [Block(number, number * 5120, 0, 0, counts) for number in range(20)]
    status = Status("safe", 0, 15, 0, 20, 0, 0, 0, count, count, 20 * 5120)
    health = _health_of(blocks, status, Calibration(converter_bits=assumed), board)
    assert health.level_v == pytest.approx(0.75, abs=3e-5)
