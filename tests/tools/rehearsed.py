"""Rehearsed drops: the firmware in a process of its own, the laptop's side as it is."""

from __future__ import annotations

import threading

from fakes.crew import SilentCrew

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.drop.granting import rehearsal
from tautlog.drop.recovery import recover
from tautlog.drop.run import DropPlan, run_drop
from tautlog.errors import RefusedError
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

SPEED = 8.0


def played(fault, seed=1, **options):
    scene = default_scene()
    scene = FAULTS[fault].change(scene) if fault else scene
    return SimulatedRig(scene, seed=seed, **options)


def plan_for(rig, path, **changes):
    return DropPlan(
        path=path,
        **{"countdown_s": 0.5, "record_s": 3.0, "speed": SPEED}
        | {"permit": rehearsal(rig.scene.setup, rig.scene.calibration, rig.scene.channels)}
        | changes,
    )


def drop(board, plan, crew=None):
    with SerialLink(board.url) as link:
        return run_drop(Session(link), plan, crew or SilentCrew())


def until_held(board, plan, record=None):
    for _ in range(40):
        with SerialLink(board.url) as link:
            try:
                return recover(Session(link), record or plan.path)
            except RefusedError:
                pass
        threading.Event().wait(0.6)  # let its silence pass
    raise AssertionError("the board never held its event")
