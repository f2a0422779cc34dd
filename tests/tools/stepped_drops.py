"""A drop of the real firmware and program in this process, at the firmware's own rate."""

import functools
import random

from fakes.crew import SilentCrew
from fakes.stepped import Laptop, Line, config_of, instrument_on

from tautlog.board.session import Session
from tautlog.drop.granting import rehearsal
from tautlog.drop.outcome import DropPlan
from tautlog.drop.run import run_drop
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.rig import CONVERSION_RATE_HZ, SimulatedRig
from tautlog.rehearsal.scene import default_scene

REDUCTION = 16  # half of the rate as delivered, which halves the time of a test
RATE_HZ = CONVERSION_RATE_HZ / REDUCTION
STEP = 256  # samples: 8 ms
MEMORY_BLOCKS = 68  # as an RP2040 has


default = functools.cache(default_scene)


class Play:
    """One rig and its laptop.

    Parameters
    ----------
    path : Path
        The record.
    fault : str
        As in `rehearse --fault`; "" for none.
    change : callable, optional
        From scene to scene, after the fault.
    believes : callable, optional
        From scene to scene: what the crew believes where that is not so.
    """

    def __init__(self, path, fault="", change=None, believes=None, by_hand=False, **config):
        scene = default()
        scene = FAULTS[fault].change(scene) if fault else scene
        scene = change(scene) if change else scene
        self.rig = SimulatedRig(scene, seed=1, reduction=REDUCTION, by_hand=by_hand)
        believed = believes(scene) if believes else scene
        readbacks = tuple((one.name, one.gpio) for one in scene.readbacks)
        defaults = {"HISTORY_BLOCKS": MEMORY_BLOCKS, "EVENT_FILE": "", "REDUCTION": REDUCTION}
        defaults |= {"READBACKS": readbacks, "CHANNELS": scene.names}
        defaults |= {"SAMPLES_PER_BLOCK": 1024 // len(scene.names)}
        self.config = config_of(object, **defaults | config)
        self.now_us, self.path = 0, path
        self.to_board, self.to_laptop = Line(random.Random(1)), Line(random.Random(2))
        self.power_up()
        permit = rehearsal(believed.setup, believed.calibration, believed.channels)
        self.plan = DropPlan(path, permit, by_hand=by_hand, countdown_s=0.5)
        self.crew = SilentCrew()
        self.laptop = None
        self._when = []

    def power_up(self):
        self.board, self.instrument = instrument_on(
            self.rig, self.config, lambda data: self.to_laptop.put(data, self.now_us), self.now_us
        )

    def heard(self, data):
        """Nothing is noted."""

    def when(self, condition, action):
        """Do something once, as soon as something is so."""
        self._when.append((condition, action))
        return self

    @property
    def state(self):
        return self.instrument.states.now

    def since_release_s(self):
        at = self.rig.release_at
        return -1.0 if at is None else self.now_us / 1e6 - at / RATE_HZ

    def pass_s(self, seconds, *, laptop=True):
        """Let time pass; without the laptop where it sleeps."""
        until_us = self.now_us + seconds * 1e6
        while self.now_us < until_us:
            self.step(laptop=laptop)

    def step(self, *, laptop=True):
        pulled = self.board.advance(STEP)
        self.now_us = self.board.now_us
        for one in [one for one in self._when if one[0]()]:
            self._when.remove(one)
            one[1]()
        self.board.receive(self.to_board.take(self.now_us))
        for _ in range(2):
            self.instrument.step()
        if self.laptop is not None and laptop:
            self.laptop.cable_in &= not pulled
            self.laptop.turn()

    def start(self, record_s=7.0, does=None):
        """Let the laptop's program begin."""
        plan = DropPlan(**{**vars(self.plan), "record_s": record_s})
        drops = lambda link: run_drop(Session(link, clock=link.clock), plan, self.crew)  # noqa: E731
        self.laptop = Laptop(self, does or drops, self.path.parent)
        return self

    def end(self):
        """Let it come to its end; what it returned. What it raised is raised."""
        while not self.laptop.ended:
            self.step()
        if self.laptop.problem is not None:
            raise self.laptop.problem
        return self.laptop.result

    def drop(self, record_s=7.0):
        """Do it all."""
        return self.start(record_s).end()
