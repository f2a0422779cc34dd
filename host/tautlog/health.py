"""Health: what the instrument reads while nothing happens."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.calibration import Calibration
from tautlog.errors import LinkTimeoutError
from tautlog.firmware import wire
from tautlog.messages import Status
from tautlog.receiver import Receiver
from tautlog.session import Session
from tautlog.stream import Block, BoardEvent

READING_BLOCKS = 20  # more than a board wants to have seen quiet before it arms
READING_S = 4.0


@dataclass(frozen=True)
class Health:
    """One reading of a quiet instrument.

    Attributes
    ----------
    level_v, noise_n : float
        Mean at the converter; rms about it, as a force.
    rail_distance_n : float
        Force to the nearer limit of amplifier or converter.
    latched, key_on, article_whole, mount_whole : bool
        What the wires say.
    lost : int
        Conversions that the board lost since power-up.
    """

    level_v: float
    noise_n: float
    rail_distance_n: float
    latched: bool
    key_on: bool
    article_whole: bool
    mount_whole: bool
    lost: int


def read_health(session: Session, calibration: Calibration, timeout_scale: float = 1.0) -> Health:
    """Let the board stream for a moment and read what comes.

    Raises
    ------
    LinkTimeoutError
        If too little comes.
    RefusedError
        If the board is not safe.
    """
    first = int(str(session.ask("stream", on=True)["first"]))
    store = _Blocks()
    receiver = Receiver(session, store, first)
    deadline = session.clock() + READING_S * timeout_scale
    while len(store.blocks) < READING_BLOCKS or receiver.status is None:
        if session.clock() > deadline:
            raise LinkTimeoutError(
                f"the board streams too slowly: {len(store.blocks)} of {READING_BLOCKS} blocks "
                f"came in {READING_S * timeout_scale:g} s"
            )
        receiver.step()
    session.ask("stream", on=False)
    counts = np.concatenate([one.counts[:, 0] for one in store.blocks])
    return _health_of(counts, receiver.status, calibration, session.instrument.reduction)


class _Blocks:
    """A store that keeps blocks for a moment and puts nothing on disk."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    def append(self, block: Block) -> None:
        self.blocks.append(block)

    def add_event(self, event: BoardEvent) -> None:
        """Events are of no interest here."""

    def commit(self) -> None:
        """There is no disk."""


def _health_of(
    counts: np.ndarray, status: Status, calibration: Calibration, reduction: int
) -> Health:
    step_v = calibration.volt_per_count(reduction)
    level_v = float(counts.mean()) * step_v
    nearest_v = min(level_v - calibration.rail_low_v, calibration.rail_high_v - level_v)
    return Health(
        level_v=level_v,
        noise_n=float(counts.std()) * calibration.quantum_n(reduction),
        rail_distance_n=nearest_v * abs(calibration.newton_per_volt),
        latched=bool(status.inputs & wire.INPUT_LATCHED),
        key_on=bool(status.inputs & wire.INPUT_KEY_ON),
        article_whole=bool(status.inputs & wire.INPUT_ARTICLE_WHOLE),
        mount_whole=bool(status.inputs & wire.INPUT_MOUNT_WHOLE),
        lost=status.lost,
    )
