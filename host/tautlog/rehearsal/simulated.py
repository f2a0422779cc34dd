"""Simulated: a drop of the simulated rig as a trace, without firmware and without files."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.firmware import wire
from tautlog.model.linearity import conversion_noise
from tautlog.model.trace import DropSetup, Trace
from tautlog.rehearsal.electronics import CountArray
from tautlog.rehearsal.rig import RigEdge, SimulatedRig
from tautlog.rehearsal.scene import Scene

SAMPLE_RATE_HZ = 62_500.0  # default of the firmware
REDUCTION = 8
BEFORE_S = 0.5  # of quiet signal, for the zero
STEP_S = 0.02


@dataclass(frozen=True)
class Simulated:
    """One simulated drop.

    Attributes
    ----------
    trace : Trace
        The trace from the scene's amplifier and converter.
    setup : DropSetup
        The drop as the crew believes it to be.
    truth : dict
        The true figures, under the names of `Marks`.
    """

    trace: Trace
    setup: DropSetup
    truth: dict[str, object]


def simulate(scene: Scene, *, seed: int = 0, record_s: float = 7.0) -> Simulated:
    """Simulate the drop of a scene.

    Parameters
    ----------
    scene : Scene
        Rig, electronics and behaviour.
    seed : int
        Seed for noise and bounce.
    record_s : float
        Time recorded after the drive signal.
    """
    rig = SimulatedRig(scene, sample_rate_hz=SAMPLE_RATE_HZ, reduction=REDUCTION, seed=seed)
    step = round(STEP_S * SAMPLE_RATE_HZ)
    counts: list[CountArray] = []
    edges: list[RigEdge] = []
    outputs = 0
    for start_s in np.arange(0.0, BEFORE_S + record_s, STEP_S):
        if start_s >= BEFORE_S and rig.release_at is None:
            outputs = wire.OUTPUT_DRIVE | wire.OUTPUT_BEAT
        seen = rig.advance(step, outputs)
        start = len(counts) * step
        edges += [RigEdge(start + edge.offset, edge.input, edge.closed) for edge in seen.edges]
        counts.append(seen.counts)
    samples, calibration = np.concatenate(counts), scene.calibration

    def opened_s(bit: int) -> float | None:
        found = (edge.offset for edge in edges if edge.input == bit and not edge.closed)
        at = next(found, None)
        return None if at is None else at / SAMPLE_RATE_HZ

    trace = Trace(
        force_n=calibration.force_n(samples, REDUCTION, conversion_noise(samples, REDUCTION)),
        sample_rate_hz=SAMPLE_RATE_HZ,
        release_time_s=opened_s(wire.INPUT_LATCHED),
        article_wire_s=opened_s(wire.INPUT_ARTICLE_WHOLE),
        mount_wire_s=opened_s(wire.INPUT_MOUNT_WHOLE),
        clipped=calibration.clipped(samples, REDUCTION),
    )
    trace = trace.counted(calibration, REDUCTION)
    return Simulated(trace.under(calibration), scene.setup, rig.truth(0))
