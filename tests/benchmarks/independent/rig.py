"""Rig: a sled that falls on rails, a line, a fixture with a cell; integrated in time.

x is the sled's way down from where the line is just taut, y the fixture's.

    m x'' = m g - friction(x') - F          F from `lines`, 0 while x - y - slipped < 0
    M y'' = F - K y - C y'                  fixture: beam and fittings
    cell  = F - m_f y''                     m_f: what hangs between cell and line

With m_f = M that is K y + C y': a cell that is the fixture's only spring. Classical
fourth-order Runge-Kutta with a step per drop; the instant at which the line comes taut is found
by secant, because a damped line's force jumps there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from independent.lines import Line

G = 9.80665  # m/s2, ISO 80000-3
FloatArray = npt.NDArray[np.float64]
State = tuple[float, float, float, float, float, float]


@dataclass
class Rig:
    """What falls, and what it hangs on.

    Attributes
    ----------
    mass_kg, height_m : float
        All that moves; free travel until taut.
    line : Line
        The line; its slider and breaker change while it is used.
    coulomb_n, viscous_ns_per_m : float
        Friction of the rails.
    fixture_hz : float
        Natural frequency of beam and fittings; 0: rigid.
    fixture_kg, fittings_kg, fixture_damping : float
        M, m_f and the damping ratio.
    knock_ns : float
        Momentum that the fixture gets at the first onset (slack line and loose fittings that
        are snatched along); the sled loses it.
    """

    mass_kg: float
    height_m: float
    line: Line
    coulomb_n: float = 0.0
    viscous_ns_per_m: float = 0.0
    fixture_hz: float = 0.0
    fixture_kg: float = 1.0
    fittings_kg: float = 0.0
    fixture_damping: float = 0.02
    knock_ns: float = 0.0


@dataclass
class Motion:
    """What happened, at the integrator's own instants; time 0 is the sled's release."""

    time_s: FloatArray
    line_n: FloatArray
    cell_n: FloatArray
    stretch_m: FloatArray
    speed_m_per_s: FloatArray
    slipped_m: FloatArray
    smooth_from: list[int] = field(default_factory=list)
    onsets_s: list[float] = field(default_factory=list)
    slacks_s: list[float] = field(default_factory=list)
    break_s: float | None = None


class _Fall:
    """One integration; `run` does it."""

    def __init__(self, rig: Rig, finer: float) -> None:
        self.rig, self.line = rig, rig.line
        omega = 2.0 * math.pi * rig.fixture_hz
        self.flexible = omega > 0.0
        self.period_s = 1.0 / omega if self.flexible else 0.0
        self.spring = omega * omega * rig.fixture_kg
        self.damper = 2.0 * rig.fixture_damping * omega * rig.fixture_kg
        steps = [2.0 * math.pi * math.sqrt(rig.mass_kg / rig.line.stiffness_n_per_m) / 160.0]
        if self.flexible:
            steps.append(1.0 / (32.0 * rig.fixture_hz))
        if rig.line.slider is not None:
            steps.append(rig.line.slider.damper_ns_per_m / rig.line.stiffness_n_per_m / 4.0)
        if rig.line.maxwell_n_per_m:
            steps.append(rig.line.maxwell_s / 10.0)
        self.step_s = min(*steps, 2.5e-4) / finer
        self.fall_s = 2e-3 / finer
        self.taut = self.still = self.second = False
        self.time_s, self.onset_s, self.force_n = 0.0, math.inf, 0.0
        self.rows: list[tuple[float, ...]] = []
        self.smooth, self.onsets, self.slacks = [0], list[float](), list[float]()

    def rates(self, time_s: float, s: State) -> tuple[State, float, float]:
        """Rates of the state, line force, fixture's acceleration."""
        rig, line = self.rig, self.line
        x, v, y, w, arm, slipped = s
        force = arm_rate = slip = 0.0
        if self.taut:
            stretch = x - y - slipped
            if stretch > 0.0:
                force, arm_rate = line.force(stretch, v - w, arm, self.second)
                if line.slider is not None and line.slider.level_n is not None:
                    slip = line.slider.speed(force, line.damper(stretch), slipped)
                    force, arm_rate = line.force(stretch, v - w - slip, arm, self.second)
                if line.breaker.since_s is not None:
                    force *= line.breaker.share(time_s)
        friction = rig.coulomb_n * math.tanh(v / 2e-3) + rig.viscous_ns_per_m * v
        sled = G - (friction + force) / rig.mass_kg
        base = 0.0
        if self.flexible and not self.still:
            base = (force - self.spring * y - self.damper * w) / rig.fixture_kg
        return (v, sled, w, base, arm_rate, slip), force, base

    @staticmethod
    def gap(s: State) -> float:
        """Stretch of the line, negative while it is slack."""
        return s[0] - s[2] - s[5]

    def advance(self, s: State, h: float) -> State:
        """One step of Runge and Kutta."""
        t, rates = self.time_s, self.rates
        x, v, y, w, q, s5 = s
        a, b, c, d, e, f = rates(t, s)[0]
        i = h / 2.0
        a2, b2, c2, d2, e2, f2 = rates(
            t + i, (x + i * a, v + i * b, y + i * c, w + i * d, q + i * e, s5 + i * f)
        )[0]
        a3, b3, c3, d3, e3, f3 = rates(
            t + i, (x + i * a2, v + i * b2, y + i * c2, w + i * d2, q + i * e2, s5 + i * f2)
        )[0]
        a4, b4, c4, d4, e4, f4 = rates(
            t + h, (x + h * a3, v + h * b3, y + h * c3, w + h * d3, q + h * e3, s5 + h * f3)
        )[0]
        j = h / 6.0
        return (
            x + j * (a + 2.0 * (a2 + a3) + a4),
            v + j * (b + 2.0 * (b2 + b3) + b4),
            y + j * (c + 2.0 * (c2 + c3) + c4),
            w + j * (d + 2.0 * (d2 + d3) + d4),
            q + j * (e + 2.0 * (e2 + e3) + e4),
            s5 + j * (f + 2.0 * (f2 + f3) + f4),
        )

    def to_taut(self, s: State, h: float) -> tuple[float, State]:
        """Length of the step that ends where the line is just taut, and that state."""
        low, low_gap, high, high_gap = 0.0, self.gap(s), h, None
        new = s
        for _ in range(12):
            if high_gap is None:
                new = self.advance(s, high)
                high_gap = self.gap(new)
            middle = low + (high - low) * (-low_gap) / (high_gap - low_gap)
            new = self.advance(s, middle)
            gap = self.gap(new)
            if abs(gap) < 1e-10:
                break
            if gap < 0.0:
                low, low_gap = middle, gap
            else:
                high, high_gap = middle, gap
        return middle, new

    def run(self, until_s: float) -> Motion:
        """Integrate from rest at the given height."""
        s: State = (-self.rig.height_m, 0.0, 0.0, 0.0, 0.0, 0.0)
        self.keep(s)
        while self.time_s < until_s and not self.at_rest(s):
            s = self.calmed(s)
            h = min(self.step_for(s), until_s - self.time_s + 1e-9)
            new = self.advance(s, h)
            comes = not self.taut and not self.gone and self.gap(s) <= 0.0 < self.gap(new)
            s = self.snatched(s, h) if comes else self.passed(s, h, new)
        table = np.array(self.rows)
        return Motion(
            *table.T, self.smooth, self.onsets, self.slacks, self.line.breaker.since_s
        )  # fmt: skip

    @property
    def gone(self) -> bool:
        """Whether the path has parted for good."""
        return self.line.breaker.share(self.time_s) <= 0.0

    def keep(self, s: State) -> None:
        """Add a row to the motion."""
        _, self.force_n, base = self.rates(self.time_s, s)
        cell = self.force_n - self.rig.fittings_kg * base
        self.rows.append((self.time_s, self.force_n, cell, s[0] - s[2], s[1], s[5]))

    def step_for(self, s: State) -> float:
        """Length of the next step."""
        # Friction turns within mm/s: short steps where the sled is slow.
        h = self.fall_s if self.still and abs(s[1]) > 0.05 else self.step_s
        breaker = self.line.breaker
        if breaker.since_s is not None and not self.gone:
            h = min(h, breaker.tear_s / 6.0, breaker.left_s(self.time_s))
        return h

    def snatched(self, s: State, h: float) -> State:
        """The state as the line has just come taut; two rows, before and after."""
        h, new = self.to_taut(s, h)
        self.time_s += h
        s = (*new[:4], 0.0, new[5])
        self.keep(s)
        if not self.onsets:
            s, self.onset_s = self.knocked(s), self.time_s
        self.taut, self.still = True, False
        self.onsets.append(self.time_s)
        s = (s[2] + s[5] + 1e-12, *s[1:])  # a damped line pulls from here on
        self.smooth.append(len(self.rows))
        self.keep(s)
        return s

    def passed(self, s: State, h: float, new: State) -> State:
        """The state after a step, shortened where slider or breaker acts."""
        h, s = self.to_event(s, h, new)
        self.time_s += h
        if self.taut and (self.gap(s) < 0.0 or self.gone):
            self.taut = False
            self.slacks.append(self.time_s)
            self.smooth.append(len(self.rows))
        pulled = self.force_n > 0.0
        self.keep(s)
        if self.taut and (self.force_n > 0.0) != pulled:
            self.smooth.append(len(self.rows) - 1)
        if self.changed(self.force_n, s):  # the same instant twice: before and after
            self.smooth.append(len(self.rows))
            self.keep(s)
        return s

    def calmed(self, s: State) -> State:
        """The state of a slack rig whose fixture no longer rings by 1e-4 of the weight."""
        if self.taut:
            return s
        ring_n = self.spring * math.hypot(s[2], s[3] * self.period_s)
        self.still = self.still or ring_n < 1e-4 * self.rig.mass_kg * G
        return (s[0], s[1], 0.0, 0.0, *s[4:]) if self.still else s

    def at_rest(self, s: State) -> bool:
        """Whether the sled hangs still, for good."""
        if not self.taut or abs(s[1]) > 1e-5 or abs(s[3]) > 1e-5:
            return False
        rates = self.rates(self.time_s, s)[0]
        return abs(rates[1]) < 1e-2 and abs(rates[3]) < 1e-1

    def knocked(self, s: State) -> State:
        """The state after the snatch of slack line and fittings."""
        if not self.flexible or not self.rig.knock_ns:
            return s
        kick = self.rig.knock_ns
        return (
            s[0],
            s[1] - kick / self.rig.mass_kg,
            s[2],
            s[3] + kick / self.rig.fixture_kg,
            *s[4:],
        )

    def second_taut(self, s: State) -> bool:
        """Whether the second leg pulls."""
        second = self.line.second
        return second is not None and self.gap(s) > second[0]

    def due(self, s: State, time_s: float) -> bool:
        """Whether slider or breaker would act at a state."""
        line = self.line
        _, force, _ = self.rates(time_s, s)
        if line.slider is not None and line.slider.due(force, s[5]):
            return True
        if self.second_taut(s) != self.second:
            return True
        late = time_s - self.onset_s >= line.breaker.after_s
        return line.breaker.since_s is None and (force >= line.breaker.at_n or late)

    def to_event(self, s: State, h: float, new: State) -> tuple[float, State]:
        """The step shortened to just after the first act of slider or breaker."""
        if not self.taut or not self.line.gives or not self.due(new, self.time_s + h):
            return h, new
        low, high = 0.0, h
        while high - low > 1e-3 * h:
            middle = (low + high) / 2.0
            tried = self.advance(s, middle)
            if self.due(tried, self.time_s + middle):
                high, new = middle, tried
            else:
                low = middle
        return high, new

    def changed(self, force: float, s: State) -> bool:
        """Let slider and breaker act after a step; whether they did."""
        line = self.line
        if not self.taut or not line.gives:
            return False
        acted = line.slider is not None and line.slider.update(force, s[5])
        if self.second_taut(s) != self.second:
            self.second, acted = not self.second, True
        if line.breaker.since_s is None:
            late = self.time_s - self.onset_s >= line.breaker.after_s
            used_up = line.slider is not None and line.slider.used_up
            if used_up or late or force >= line.breaker.at_n:
                line.breaker.since_s, acted = self.time_s, True
        return acted


def fall(rig: Rig, until_s: float, finer: float = 1.0) -> Motion:
    """Let the sled fall and bounce until a time; `finer` divides the step."""
    return _Fall(rig, finer).run(until_s)
