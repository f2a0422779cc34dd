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
from tautlog.rehearsal.hung import Hung
from tautlog.rehearsal.scene import Scene
from tautlog.rehearsal.sources import Falling, Since, Sources, Still, later
from tautlog.rehearsal.stand import CUT, FALLEN, HOOK, PIN, RAISED, Stand
from tautlog.rehearsal.true_figures import true_figures

MOTION_S = 12.0
CONVERSION_RATE_HZ = 500_000.0  # of all channels together, as in the firmware's config.py
LINK_CUT = 0x100
_BOUNCES = (3, 8)  # further openings, at least and below
_CLOSED_S = 0.001
_GLITCH = 3900 / 4096  # where a jumping sample lies, of full scale
_HAND_S = (0.5, 1.5)  # a hand pulls the pin this long after the lamp came on


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
    """One rig, advanced step by step: a drop, and another when its sled is raised again.

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
        self.bench = Bench(scene, tuple(one.name for one in scene.readbacks))
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
        self._random = np.random.default_rng([seed, 7])
        self._by_hand = by_hand
        self._samples = 0
        self._drive_since: int | None = None
        self._lamp_since: int | None = None
        self._hand_s = float(self._random.uniform(*_HAND_S))
        self._agenda: list[tuple[float, int, int]] = []  # sample, input bit, closed
        self._cut_at: float | None = None
        self._rips_at: float | None = None
        self._late_s = 0.0
        self._glitch_at: int | None = None
        self._pin_pulled = False
        self._still_at = 0.0  # sample at which a sled that was let go is at rest
        self.release_at: float | None = None
        self.motion: Motion | None = None
        self._touched = 0
        behaviour = scene.behaviour
        self._inputs = wire.INPUT_ARTICLE_WHOLE | wire.INPUT_MOUNT_WHOLE
        self._inputs |= wire.INPUT_KEY_ON if behaviour.key_on else 0
        self._inputs |= wire.INPUT_LATCHED if behaviour.latched else 0
        self._hooked = behaviour.latched
        self._hung_kg: dict[str, float] = {}
        self._happens: Sources = Still(scene)
        self._measure(self._happens)
        self._chain_contacts = ChainContacts(scene, sample_rate_hz)

    @property
    def scene(self) -> Scene:
        """The rig as it is now: a hand may have changed it."""
        return self.stand.scene

    @property
    def stand(self) -> Stand:
        """How it stands."""
        return self.bench.stand

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
        if self._rips_at is not None and start >= self._rips_at:
            self._rips_at = None
            self.bench.do("open signal+")
        moved = self._touch()
        self.bench.watch(outputs)
        self._watch_outputs(start, n_samples, outputs)
        self._samples = end = start + n_samples
        self.stand.moving &= end < self._still_at
        counts = self._digitiser.counts(n_samples)
        if outputs & wire.OUTPUT_SHUNT:
            counts = _stepped(counts, self.bench.shunt_v, self._digitiser)
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
        for order in self.stand.taken():
            self._obey(order)
        if self.stand.article_whole:
            self._inputs |= wire.INPUT_ARTICLE_WHOLE | wire.INPUT_MOUNT_WHOLE
        self._measure(self._sources_now())
        changed = before ^ bench.read(self._inputs)
        bits = [bit for bit in INPUTS.values() if changed & bit]
        return [RigEdge(0.0, bit, int(not before & bit)) for bit in bits]

    def _obey(self, order: str) -> None:
        """Do at once what a hand did."""
        if order == HOOK:
            self.release_at = self._drive_since = self._lamp_since = None
            self._pin_pulled, self._hooked, self.motion = False, True, None
            self._agenda.clear()
            self._inputs |= wire.INPUT_LATCHED
        elif order == PIN:
            self._pin_pulled = True
        elif order == CUT:
            self._cut_at = float(self._samples)

    def _sources_now(self) -> Sources:
        """What the channels measure from now on, after a hand changed what hangs on them."""
        hung_kg = self.stand.hung_kg
        is_fallen = self.stand.sled == FALLEN
        if is_fallen or (hung_kg == self._hung_kg and not isinstance(self._happens, Falling)):
            return self._happens
        self._hung_kg, before = hung_kg, self._happens
        now_s = self._samples / self._sample_rate_hz
        self._happens = Hung(self.scene, hung_kg, now_s) if hung_kg else Still(self.scene)
        return Since(before, self._happens, now_s)

    def _measure(self, sources: Sources) -> None:
        """Let every channel see what happens, through its wires, each a conversion later."""
        scene, bench = self.scene, self.bench
        conversion_hz = self._digitiser.conversion_rate_hz * len(scene.names)
        self._digitiser.chain = bench.chain(scene.chain, "")
        self._digitiser.apply(bench.source("", sources.source(scene.first)))
        for column, (side, digitiser) in enumerate(zip(scene.side, self._side, strict=True), 1):
            digitiser.chain = bench.chain(side.chain, side.name)
            source = later(sources.source(side.name), column / conversion_hz)
            digitiser.apply(bench.source(side.name, source))

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
        if self.release_at is not None or not (self._hooked and self.bench.latch_closed):
            return
        driven = self.bench.coil_is_driven(outputs) and not self._by_hand
        self._drive_since = (self._drive_since or start) if driven else None
        if not outputs & wire.OUTPUT_LAMP:
            self._lamp_since = None
        elif self._lamp_since is None:
            self._lamp_since = start
        at: float | None = None
        if self._pin_pulled:
            at = start
        elif self._by_hand and self._lamp_since is not None:
            at = self._lamp_since + self._hand_s * self._sample_rate_hz
        elif self._drive_since is not None and not self.scene.behaviour.latch_stuck:
            at = self._drive_since + self.scene.behaviour.latch_delay_s * self._sample_rate_hz
        if at is not None and at < start + n_samples:
            self._let_go(at)

    def _let_go(self, at: float) -> None:
        behaviour = self.scene.behaviour
        self.release_at, self._pin_pulled = at, False
        if not behaviour.switch_stuck:
            span = behaviour.bounce_s * self._sample_rate_hz
            closed = _CLOSED_S * self._sample_rate_hz
            self._agenda += _switch_opens(self._random, at, span, closed)
        if self.stand.sled == RAISED:
            self._late_s = behaviour.hesitates_s
            self._fall(at + self._late_s * self._sample_rate_hz)
        self._agenda.sort()
        if behaviour.cut_link_after_s is not None:
            self._cut_at = at + behaviour.cut_link_after_s * self._sample_rate_hz
        if behaviour.glitch_after_s is not None:
            self._glitch_at = int(at + behaviour.glitch_after_s * self._sample_rate_hz)

    def _fall(self, at: float) -> None:
        """The sled falls: a latch that holds nothing only opens."""
        falling = Falling(self.scene, at / self._sample_rate_hz, MOTION_S)
        self._happens = falling
        self.motion = motion = falling.motion
        self._measure(falling)
        ends_s = motion.contacts[-1].end_s if motion.contacts else MOTION_S
        self._still_at = at + ends_s * self._sample_rate_hz
        self.stand.sled, self.stand.moving = FALLEN, True
        true, behaviour = motion.truth(), self.scene.behaviour
        self.stand.article_whole = true.break_time_s is None
        if true.break_time_s is not None and (
            behaviour.article_wire_opens or behaviour.mount_lets_go
        ):
            parted = wire.INPUT_MOUNT_WHOLE if behaviour.mount_lets_go else wire.INPUT_ARTICLE_WHOLE
            self._agenda.append((at + true.break_time_s * self._sample_rate_hz, parted, 0))
        if behaviour.cell_cable_rips and true.peak_time_s is not None:
            self._rips_at = at + true.peak_time_s * self._sample_rate_hz

    def truth(self, first_sample_index: int) -> dict[str, object]:
        """The true figures of the last drop; see `true_figures`.

        Parameters
        ----------
        first_sample_index : int
            Sample since power-up at which the trace begins; times count from it.
        """
        released = None
        if self.release_at is not None:
            released = (self.release_at - first_sample_index) / self._sample_rate_hz
        return true_figures(self.scene, self.motion, released, self._late_s)


def _switch_opens(
    random: np.random.Generator, at: float, span: float, closed: float
) -> list[tuple[float, int, int]]:
    """First opening at the release, then bounces within a span, as an agenda; all in samples."""
    count = int(random.integers(*_BOUNCES))
    later = np.sort(random.uniform(0.0, span, 2 * count))
    # A bouncing contact is closed for no more than a millisecond or two.
    later[1::2] = np.minimum(later[1::2], later[::2] + closed)
    bounces = [
        (at + float(after), wire.INPUT_LATCHED, (number + 1) % 2)
        for number, after in enumerate(later)
    ]
    return [(at, wire.INPUT_LATCHED, 0), *bounces]


def _stepped(
    counts: npt.NDArray[np.uint16], step_v: float, digitiser: Digitiser
) -> npt.NDArray[np.uint16]:
    """Samples with the shunt's step on top, as far as the amplifier reaches."""
    chain, full = digitiser.chain, digitiser.full_scale
    step = round(step_v / chain.reference_v * full)
    most = round(chain.usable_v[1] / chain.reference_v * full)
    return np.minimum(counts.astype(np.int64) + step, np.maximum(counts, most)).astype(np.uint16)
