"""Health: the readings of the instrument at rest."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tautlog.analysis.mains import mains_component
from tautlog.board.answers import MOST_BYTES, whole
from tautlog.board.messages import Status
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.board.stillness import Stillness, stillness_of
from tautlog.errors import LinkTimeoutError
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.channels import EXCITATION, columns_of
from tautlog.model.readbacks import open_names
from tautlog.model.stream import Block, BoardEvent, Instrument

READING_S_OF_SAMPLES = 0.5  # separates 50 Hz from 60 Hz; a board needs less before it arms
READING_S = 4.0


@dataclass(frozen=True)
class Health:
    """One reading of a quiet instrument.

    Attributes
    ----------
    level_v, noise_n, noise_v : float
        Mean at the converter; rms noise, as a force and at the converter.
    rail_distance_n : float
        Force to the nearer limit of amplifier or converter.
    latched, key_on, article_whole, mount_whole : bool
        State of the switches and wires.
    lost, lost_now : int
        Conversions that the board lost since power-up, and within this reading.
    mains_hz : float or None
        Frequency of the mains hum; None if none exceeds the noise.
    mains_n : float
        Amplitude of the strongest component near it.
    measured_rate_hz : float or None
        Samples per second on the board's clock.
    second_channel_v, excitation_v : float or None
        Mean of the second channel, and of the channel named "excitation", if there is one.
    free_bytes : int or None
        Free memory of the board.
    span_n : float
        Tension that fits between the present level and the far limit.
    channels_v, channels_noise_v : tuple of float
        Mean and rms noise of every channel at the converter; empty for one channel.
    open_readbacks : tuple of str
        Contacts of the release chain that read as open; see `model.readbacks`.
    ended_s : float
        End of the reading, in seconds on the board's clock of samples.
    drive_on : bool
        The release drive is high; never so in state safe.
    stillness : Stillness or None
        Whether the channel reads one level; None if nothing was read of it.
    """

    level_v: float
    noise_n: float
    rail_distance_n: float
    latched: bool
    key_on: bool
    article_whole: bool
    mount_whole: bool
    lost: int
    mains_hz: float | None = None
    mains_n: float = 0.0
    measured_rate_hz: float | None = None
    second_channel_v: float | None = None
    excitation_v: float | None = None
    free_bytes: int | None = None
    span_n: float = 0.0
    noise_v: float = 0.0
    lost_now: int = 0
    channels_v: tuple[float, ...] = ()
    channels_noise_v: tuple[float, ...] = ()
    open_readbacks: tuple[str, ...] = ()
    ended_s: float = 0.0
    drive_on: bool = False
    stillness: Stillness | None = None


def read_health(session: Session, calibration: Calibration, column: int = 0) -> Health:
    """Let the board stream briefly and read its signal.

    Parameters
    ----------
    session : Session
        The board, greeted.
    calibration : Calibration
        That of the channel which is read.
    column : int
        The channel: its place in the board's CHANNELS.

    Raises
    ------
    LinkTimeoutError
        If too few blocks come.
    RefusedError
        If the board is not safe.
    BoardError
        If its answers make no sense.
    """
    board = session.instrument
    wanted = math.ceil(READING_S_OF_SAMPLES * board.sample_rate_hz / board.samples_per_block) + 1
    first = whole("stream", session.ask("stream", on=True), "first")
    store = _Blocks()
    receiver = Receiver(session, store, first)
    deadline = session.clock() + READING_S * session.scale
    while len(store.blocks) < wanted or receiver.status is None:
        if session.clock() > deadline:
            raise LinkTimeoutError(
                f"the board streams too slowly: {len(store.blocks)} of {wanted} blocks "
                f"came in {READING_S * session.scale:g} s"
            )
        receiver.step()
    session.ask("stream", on=False)
    told = session.ask("status")
    known = told.get("free_bytes") is not None
    free_bytes = whole("status", told, "free_bytes", MOST_BYTES) if known else None
    return replace(
        _health_of(store.blocks, receiver.status, calibration, board, column),
        free_bytes=free_bytes,
    )


class _Blocks:
    """A store that keeps blocks in memory only."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    def append(self, block: Block) -> None:
        self.blocks.append(block)

    def add_event(self, event: BoardEvent) -> None:
        """Ignore events."""

    def commit(self) -> None:
        """Do nothing: there is no disk."""


def _health_of(
    blocks: list[Block],
    status: Status,
    calibration: Calibration,
    board: Instrument,
    column: int = 0,
) -> Health:
    every = np.concatenate([block.counts for block in blocks])
    counts = every[:, column]
    reduction = board.reduction
    # Volts are those of the converter that is there; `readiness` judges what was assumed of it.
    if calibration.converter_bits != board.converter_bits:
        calibration = replace(calibration, converter_bits=board.converter_bits, converter="")
    step_v = calibration.volt_per_count(reduction)
    level_v = float(counts.mean()) * step_v
    nearest_v = min(level_v - calibration.rail_low_v, calibration.rail_high_v - level_v)
    # Tension raises the voltage, unless the calibration says otherwise.
    up = calibration.newton_per_volt > 0
    far_v = calibration.rail_high_v - level_v if up else level_v - calibration.rail_low_v
    hum = mains_component(calibration.force_n(counts, reduction), board.sample_rate_hz)
    seconds_us = wire.ticks_elapsed_us(blocks[-1].stamp_us, blocks[0].stamp_us)
    between = (blocks[-1].number - blocks[0].number) * board.samples_per_block
    means_v = [step_v * float(mean) for mean in every.mean(axis=0)]
    noises_v = [step_v * float(noise) for noise in every.std(axis=0)]
    several = len(board.channels) > 1
    supply = columns_of(board.channels, EXCITATION)
    return Health(
        level_v=level_v,
        noise_n=float(counts.std()) * calibration.quantum_n(reduction),
        noise_v=float(counts.std()) * step_v,
        rail_distance_n=nearest_v * abs(calibration.newton_per_volt),
        span_n=far_v * abs(calibration.newton_per_volt),
        mains_hz=hum[0],
        mains_n=hum[1],
        measured_rate_hz=between / seconds_us * 1e6 if seconds_us > 0 else None,
        second_channel_v=means_v[1] if several else None,
        excitation_v=means_v[supply[0]] if supply else None,
        channels_v=tuple(means_v) if several else (),
        channels_noise_v=tuple(noises_v) if several else (),
        latched=bool(status.inputs & wire.INPUT_LATCHED),
        key_on=bool(status.inputs & wire.INPUT_KEY_ON),
        article_whole=bool(status.inputs & wire.INPUT_ARTICLE_WHOLE),
        mount_whole=bool(status.inputs & wire.INPUT_MOUNT_WHOLE),
        open_readbacks=open_names(board.readbacks, status.inputs),
        ended_s=(blocks[-1].number + 1) * board.samples_per_block / board.sample_rate_hz,
        drive_on=bool(status.outputs & wire.OUTPUT_DRIVE),
        lost=status.lost,
        lost_now=sum(block.lost for block in blocks),
        stillness=stillness_of(counts * step_v, board.sample_rate_hz),
    )
