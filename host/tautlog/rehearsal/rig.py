"""The simulated rig: sled and electronics joined to the board's pins.

Time is counted in samples since the board was powered; nothing happens faster
or slower because a computer does.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tautlog.firmware import wire
from tautlog.mechanics.motion import Motion
from tautlog.model.wiring import INPUTS
from tautlog.rehearsal.bench import Bench
from tautlog.rehearsal.chain_contacts import ChainContacts
from tautlog.rehearsal.electronics import Digitiser
from tautlog.rehearsal.scene import Scene
from tautlog.rehearsal.sources import Falling, Sources, Still, later

MOTION_S = 12.0
CONVERSION_RATE_HZ = 500_000.0  # of all channels together, as in the firmware's config.py
LINK_CUT = 0x100
_BOUNCES = (3, 8)  # further openings, at least and below
_CLOSED_S = 0.001
_GLITCH = 3900 / 4096  # where a jumping sample lies, of full scale
_HAND_S = (0.5, 1.5)  # a hand pulls the pin this long after the lamp came on
_TIMES = ("onset", "slack", "peak", "break")
_FIGURES = (
    "peak_force_n rise_time_s duration_s fwhm_s base_duration_s impulse_ns rest_force_n bounces "
    "fall_time_s taut_speed_m_s restitution energy_absorbed_j break_force_n"
)


@dataclass(frozen=True)
class RigEdge:
    """An edge of an input.

    Attributes
    ----------
    offset : float
        Samples after the first sample of the step.
    input : int
        The input's bit, `wire.INPUT_*`.
    closed : int
        1 when the contact closed, 0 when it opened.
    """

    offset: float
    input: int
    closed: int


@dataclass(frozen=True)
class RigStep:
    """What the board sees of one step.

    Attributes
    ----------
    counts : ndarray of uint16, shape (n_samples,) or (n_samples, channels)
        Samples, made of conversions already.
    inputs : int
        Bits of the inputs at the end of the step; LINK_CUT when the cable is pulled.
    edges : list of RigEdge
        In order of time.
    """

    counts: npt.NDArray[np.uint16]
    inputs: int
    edges: list[RigEdge] = field(default_factory=list)


class SimulatedRig:
    """One drop of one scene, advanced step by step.

    Parameters
    ----------
    scene : Scene
        Rig, electronics and behaviour.
    sample_rate_hz : float, optional
        Samples per second of one channel after reduction (default: as the firmware's config.py).
    reduction : int
        Conversions summed into one sample.
    seed : int
        Of noise, bounce and the hand.
    by_hand : bool
        A hand pulls the pin once the lamp is on; the drive does nothing.
    """

    def __init__(
        self,
        scene: Scene,
        *,
        sample_rate_hz: float | None = None,
        reduction: int = 8,
        seed: int = 0,
        by_hand: bool = False,
    ) -> None:
        self.scene = scene
        if sample_rate_hz is None:
            sample_rate_hz = CONVERSION_RATE_HZ / (reduction * len(scene.names))
        self._sample_rate_hz = sample_rate_hz
        self._digitiser = Digitiser(
            scene.chain, sample_rate_hz=sample_rate_hz, reduction=reduction, seed=seed
        )
        self._side = [
            Digitiser(
                side.chain, sample_rate_hz=sample_rate_hz, reduction=reduction, seed=seed + 1000 * n
            )
            for n, side in enumerate(scene.side, start=1)
        ]
        self._apply_side(Still(scene))
        self._random = np.random.default_rng([seed, 7])
        self._by_hand = by_hand
        self._samples = 0
        self._drive_since: int | None = None
        self._lamp_since: int | None = None
        self._hand_s = float(self._random.uniform(*_HAND_S))
        self._agenda: list[tuple[float, int, int]] = []  # sample, input bit, closed
        self._cut_at: float | None = None
        self._glitch_at: int | None = None
        self.release_at: float | None = None
        self.motion: Motion | None = None
        self.bench = Bench(scene, tuple(one.name for one in scene.readbacks))
        self._touched = 0
        behaviour = scene.behaviour
        self._inputs = wire.INPUT_ARTICLE_WHOLE | wire.INPUT_MOUNT_WHOLE
        self._inputs |= wire.INPUT_KEY_ON if behaviour.key_on else 0
        self._inputs |= wire.INPUT_LATCHED if behaviour.latched else 0
        self._chain_contacts = ChainContacts(scene, sample_rate_hz)

    def advance(self, n_samples: int, outputs: int) -> RigStep:
        """Let time pass.

        Parameters
        ----------
        n_samples : int
            Samples wanted.
        outputs : int
            The board's outputs during the step, `wire.OUTPUT_*`.
        """
        with self.bench.lock:
            return self._advance(n_samples, outputs)

    def _advance(self, n_samples: int, outputs: int) -> RigStep:
        start = self._samples
        moved = self._touch()
        self.bench.watch(outputs)
        self._watch_outputs(start, n_samples, outputs)
        self._samples = end = start + n_samples
        counts = self._digitiser.counts(n_samples)
        if outputs & wire.OUTPUT_SHUNT:
            step = self.bench.shunt_v / self.scene.chain.reference_v
            counts = counts + np.uint16(round(step * self._digitiser.full_scale))
        if self._glitch_at is not None and start <= self._glitch_at < end:
            counts = counts.copy()
            counts[self._glitch_at - start] = round(_GLITCH * self._digitiser.full_scale)
        if self._side:
            others = [digitiser.counts(n_samples) for digitiser in self._side]
            counts = np.column_stack([counts, *others])
        edges = [
            RigEdge(max(at - start, 0.0), bit, closed)
            for at, bit, closed in self._agenda
            if at < end
        ]
        self._agenda = [planned for planned in self._agenda if planned[0] >= end]
        for edge in edges:
            self._inputs = (self._inputs & ~edge.input) | (edge.input if edge.closed else 0)
        chain = self._chain_contacts.bits(end, self._lamp_since, self.release_at)
        read = self.bench.read(self._inputs | chain)
        return RigStep(counts, read | self._cut(end), moved + edges)

    def _touch(self) -> list[RigEdge]:
        """What somebody did at the bench since the last step."""
        if self.bench.touches == self._touched:
            return []
        bench, before = self.bench, self.bench.last_read
        self._touched = bench.touches
        if bench.latch_closed and self.scene.behaviour.latched and self.release_at is not None:
            self._hang_again()
        if self.release_at is None:
            still = Still(self.scene)
            self._digitiser.chain = bench.chain(self.scene.chain, "")
            self._digitiser.apply(bench.source("", still.source(self.scene.first)))
            for side, digitiser in zip(self.scene.side, self._side, strict=True):
                digitiser.chain = bench.chain(side.chain, side.name)
                digitiser.apply(bench.source(side.name, still.source(side.name)))
        changed = before ^ bench.read(self._inputs)
        bits = [bit for bit in INPUTS.values() if changed & bit]
        return [RigEdge(0.0, bit, int(not before & bit)) for bit in bits]

    def _hang_again(self) -> None:
        """The sled is on its latch again after a release."""
        self.release_at = self._drive_since = self._lamp_since = None
        self._agenda.clear()
        self._inputs |= wire.INPUT_LATCHED | wire.INPUT_ARTICLE_WHOLE

    def move_readback(self, name: str, *, closed: bool) -> None:
        """Open or close a contact that the board reads back, see `ChainContacts.move`."""
        self._chain_contacts.move(name, closed=closed)

    def _cut(self, end: int) -> int:
        if self._cut_at is None or end < self._cut_at:
            return 0
        self._cut_at = None
        return LINK_CUT

    def _watch_outputs(self, start: int, n_samples: int, outputs: int) -> None:
        """See whether latch or hand lets the sled go within this step."""
        hangs = self.scene.behaviour.latched and self.bench.latch_closed
        if self.release_at is not None or not hangs:
            return
        driven = self.bench.coil_is_driven(outputs) and not self._by_hand
        self._drive_since = (self._drive_since or start) if driven else None
        if outputs & wire.OUTPUT_LAMP and self._lamp_since is None:
            self._lamp_since = start
        at = None
        if self._by_hand and self._lamp_since is not None:
            at = self._lamp_since + self._hand_s * self._sample_rate_hz
        elif self._drive_since is not None and not self.scene.behaviour.latch_stuck:
            at = self._drive_since + self.scene.behaviour.latch_delay_s * self._sample_rate_hz
        if at is not None and at < start + n_samples:
            self._let_go(at)

    def _let_go(self, at: float) -> None:
        behaviour = self.scene.behaviour
        self.release_at = at
        falling = Falling(self.scene, at / self._sample_rate_hz, MOTION_S)
        self.motion = motion = falling.motion
        self._digitiser.apply(falling.source(self.scene.first))
        self._apply_side(falling)
        if not behaviour.switch_stuck:
            self._plan_switch(at)
        broken_s = motion.truth().break_time_s
        if broken_s is not None and behaviour.article_wire_opens:
            wire_at = at + broken_s * self._sample_rate_hz
            self._agenda.append((wire_at, wire.INPUT_ARTICLE_WHOLE, 0))
        self._agenda.sort()
        if behaviour.cut_link_after_s is not None:
            self._cut_at = at + behaviour.cut_link_after_s * self._sample_rate_hz
        if behaviour.glitch_after_s is not None:
            self._glitch_at = int(at + behaviour.glitch_after_s * self._sample_rate_hz)

    def _apply_side(self, sources: Sources) -> None:
        """Let the channels beyond the first see what happens, each a conversion later."""
        conversion_hz = self._digitiser.conversion_rate_hz * len(self.scene.names)
        for column, (side, digitiser) in enumerate(
            zip(self.scene.side, self._side, strict=True), start=1
        ):
            digitiser.apply(later(sources.source(side.name), column / conversion_hz))

    def _plan_switch(self, at: float) -> None:
        """First opening at the release, then bounces within `bounce_s`."""
        count = int(self._random.integers(*_BOUNCES))
        span = self.scene.behaviour.bounce_s * self._sample_rate_hz
        later = np.sort(self._random.uniform(0.0, span, 2 * count))
        # A bouncing contact is closed for no more than a millisecond or two.
        later[1::2] = np.minimum(later[1::2], later[::2] + _CLOSED_S * self._sample_rate_hz)
        self._agenda.append((at, wire.INPUT_LATCHED, 0))
        for number, after in enumerate(later):
            self._agenda.append((at + float(after), wire.INPUT_LATCHED, (number + 1) % 2))

    def truth(self, first_sample_index: int) -> dict[str, object]:
        """The true figures, by the key names of ``tautlog mark --json``.

        Parameters
        ----------
        first_sample_index : int
            Sample since power-up at which the trace begins; times count from it.
        """
        setup = self.scene.setup
        figures: dict[str, object] = {
            "target_force_n": setup.target_n,
            "limit_force_n": setup.upper_n,
            "release_time_s": None,
            "trace_says": "unclear",
        }
        if self.release_at is None or self.motion is None:
            return figures
        release_s = (self.release_at - first_sample_index) / self._sample_rate_hz
        true = self.motion.truth()
        model = self.scene.model
        for name in _TIMES:
            since_s = getattr(true, f"{name}_time_s")
            figures[f"{name}_time_s"] = None if since_s is None else since_s + release_s
        for name in _FIGURES.split():
            figures[name] = getattr(true, name)
        figures["release_time_s"] = release_s
        figures["line_stiffness_n_per_m"] = model.stiffness_n_per_m
        figures["damping_ratio"] = model.damping_ratio
        figures["friction_n"] = model.friction_n
        figures["clipped"] = self.scene.chain.clips(true.peak_force_n or 0.0)
        figures["trace_says"] = self._trace_says()
        return figures

    def _trace_says(self) -> str:
        assert self.motion is not None
        true = self.motion.truth()
        if true.break_time_s is not None:
            return "let-go"
        if true.slipped_m > 0:
            return "slipped"
        return "held" if true.peak_force_n is not None else "unclear"
