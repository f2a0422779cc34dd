"""Estimate: what mass, gain, height, friction and latch must be for all times and
impulses of one drop to agree.

A drop tells more than it needs to. The fall takes a time; every pull of the line turns
a momentum round; every flight between two pulls is a clock for the speeds before and
after it; at the end the sled hangs. With

    v_in  = sqrt(2 (g - a) h)          the first fall, a = friction / mass
    t     = t0 + sqrt(2 h / (g - a))   its time, t0 the delay of the latch
    J     = r m (v_in + v_out + g T)   each pull; r: force scale times mass, over what
                                       was said of them
    flight: up with g + a, down with g - a, from the stretch at which the line let go
    F     = r m g                      at rest, but for what friction holds

four unknowns (r, h, a, t0) are found by weighted least squares, each with what is known
of it beforehand. Force scale and mass cannot be told apart by a trace: both only
multiply. A late latch looks like friction in the fall time, and only there: the switch is
taken to open as the sled is let go, unless pulls and flights say otherwise. Own method,
after the momentum law; tests hold it against solved drops.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from scipy.special import chdtrc, chdtri

from tautlog.analysis.bounces import Pull
from tautlog.model.limits import FRICTION_U, HEIGHT_U_M, K_FACTOR, MASS_U_FRACTION, ONSET_U_S
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

FloatArray = npt.NDArray[np.float64]

# What else is known beforehand, as standard uncertainties: common practice.
SWITCH_U_S = 0.005  # a switch that the sled itself opens
DELAY_U_S = 0.04  # magnets hang on for tens of milliseconds
HEIGHT_READ_U = 0.002  # of the height: a tape held 3.6 degrees off; own choice
# What one observation is worth, of speed before a pull and of weight at rest: from a fit on own
# simulation of many lines.
SPEED_U_FRACTION, REST_U_FRACTION = 0.0015, 0.003
LATE_MISFIT = 2.0  # less of chi-squared, that a late latch must bring; own choice
MOST_FRICTION = 0.5  # of the weight: with more a sled hardly falls; own choice
EARLIEST_DELAY_S = -0.003  # a switch that opens after the sled moves; own choice
DISAGREES = 0.999  # of what chance does: one good drop in a thousand is doubted; own choice
TOLD = 0.5  # of what was known beforehand: then the drop told it, not the prior; own choice
# A prior that is none, as a logarithm: a factor of e to the tenth.
_FREE = 10.0
# Standard uncertainties: no flight can be like that, and no other observation outweighs it.
_IMPOSSIBLE = 30.0

_SCALE, _HEIGHT, _FRICTION, _DELAY = range(4)


@dataclass(frozen=True)
class Observed:
    """What one drop showed; None where it did not.

    Attributes
    ----------
    pulls : tuple of Pull
        In order, the drop's own first.
    fall_time_s : float or None
        Release to onset.
    rest_n : float or None
        Mean once all hangs still.
    zero_u_n : float
        Standard uncertainty of the zero.
    sample_s : float
        Time between two samples.
    """

    pulls: tuple[Pull, ...]
    fall_time_s: float | None = None
    rest_n: float | None = None
    zero_u_n: float = 0.0
    sample_s: float = 0.0


@dataclass(frozen=True)
class Said:
    """What people said of it, and how well the force is known (standard, relative)."""

    mass_kg: float
    height_m: float
    force_u_fraction: float


@dataclass(frozen=True)
class Estimate:
    """What agrees best.

    Attributes
    ----------
    scale : float
        Force scale times mass, over what was said of them.
    height_m, friction_fraction, delay_s : float
        Free travel; friction over weight; from the release switch to the real release.
    u : ndarray of float64, shape (4,)
        Their standard uncertainties, in this order; that of the height relative.
    agrees : bool
        Whether what was said and what was seen differ by no more than chance.
    wrong : str
        What explains it best when they do: "delay" (and then all agrees), "scale",
        "height", "rest", "first-pull", or "" for none of these alone.
    speed_out_m_s : float or None
        Upward speed at the end of the first pull, where a flight follows.
    """

    scale: float
    height_m: float
    friction_fraction: float
    delay_s: float
    u: FloatArray
    agrees: bool
    wrong: str = ""
    speed_out_m_s: float | None = None

    @property
    def scale_u(self) -> float:
        """Standard uncertainty of the scale."""
        return self.scale * float(self.u[_SCALE])

    @property
    def friction_u(self) -> float:
        """Standard uncertainty of the friction, over the weight."""
        return float(self.u[_FRICTION])

    @property
    def delay_u_s(self) -> float:
        """Standard uncertainty of the delay."""
        return float(self.u[_DELAY])

    @property
    def tells_friction(self) -> bool:
        """Whether the drop, and not what was known before, tells the friction."""
        return self.agrees and self.friction_u < TOLD * FRICTION_U

    @property
    def sure_friction(self) -> float:
        """Friction over weight where it is more than its expanded uncertainty, else 0."""
        sure = self.tells_friction and self.friction_fraction > K_FACTOR * self.friction_u
        return self.friction_fraction if sure else 0.0

    @property
    def tells_delay(self) -> bool:
        """Whether the drop tells how late the latch was."""
        return self.wrong == "delay" and self.delay_u_s < TOLD * DELAY_U_S

    def words(self, mass_kg: float, height_m: float) -> str:
        """What is most likely wrong, with numbers."""
        if self.wrong == "scale":
            factor = self.scale
            gain = _gain_words(factor)
            return (
                f"all agrees if the sled has {factor * mass_kg:.2f} kg, {mass_kg:g} kg was "
                f"entered, or if {gain}: a trace cannot tell which, weigh the sled"
            )
        if self.wrong == "height":
            return (
                f"all agrees if the free travel was {self.height_m:.3f} m, {height_m:g} m was "
                "entered: measure the slack line again"
            )
        if self.wrong == "rest":
            return (
                "pulls and flights agree with what was entered and the rest force does not: "
                "it rests on something, or hangs by another path"
            )
        if self.wrong == "first-pull":
            return (
                "all agrees but the first pull: something else, such as a stop, took a part of "
                "the momentum, or the line slipped"
            )
        return ""


def _gain_words(factor: float) -> str:
    """Say what a factor means for the force; 2, 10 and 1000 have causes of their own."""
    for known, cause in ((10.0, "a gain jumper"), (1000.0, "a unit, N for kN"), (2.0, "a jumper")):
        if abs(np.log(factor / known)) < 0.05 or abs(np.log(factor * known)) < 0.05:
            return f"the force reads {factor:.3g} times what it is ({cause}?)"
    return f"the force reads {100 * (factor - 1.0):+.1f} % off"


def estimate(seen: Observed, said: Said) -> Estimate | None:
    """Find what agrees best, and what is wrong when nothing agrees.

    Returns
    -------
    Estimate or None
        None when the drop shows too little: no flight and no rest.
    """
    found = _fit(seen, said, _Given())
    if found is None:
        return None
    result, misfit, count = found
    late = _fit(seen, said, _Given(delay_u_s=DELAY_U_S))
    if late is not None and late[1] < misfit - LATE_MISFIT and late[0].delay_s > 0.0:
        result, misfit = replace(late[0], wrong="delay"), late[1]
    if misfit <= chdtri(count, 1.0 - DISAGREES):
        return replace(result, agrees=True)
    return _with_suspect(result, seen, said)


def _with_suspect(result: Estimate, seen: Observed, said: Said) -> Estimate:
    """Let one thing after the other be wrong, and keep what explains the rest best."""
    trials = (
        ("scale", seen, _Given(scale_u=_FREE)),
        ("height", seen, _Given(height_u=_FREE)),
        ("rest", replace(seen, rest_n=None), _Given()),
        ("first-pull", seen, _Given(first_pull=False)),
    )
    best, least = replace(result, wrong=""), 1.0 - DISAGREES
    for name, shown, given in trials:
        found = _fit(shown, said, given)
        if found is None or (name == "rest" and seen.rest_n is None):
            continue
        one, misfit, count = found
        chance = float(chdtrc(max(count - 1, 1), misfit))
        if chance > least:
            best, least = replace(one, wrong=name), chance
    return best


@dataclass(frozen=True)
class _Given:
    """What a fit takes as known; None for what is usual."""

    scale_u: float | None = None
    height_u: float | None = None
    delay_u_s: float = SWITCH_U_S
    first_pull: bool = True

    def prior(self, said: Said) -> FloatArray:
        """Standard uncertainties of the logarithm of scale and height, friction, delay."""
        scale_u = np.hypot(said.force_u_fraction, MASS_U_FRACTION)
        height_u = np.hypot(HEIGHT_U_M / said.height_m, HEIGHT_READ_U)
        return np.array(
            [self.scale_u or scale_u, self.height_u or height_u, FRICTION_U, self.delay_u_s]
        )


def _fit(seen: Observed, said: Said, given: _Given) -> tuple[Estimate, float, int] | None:
    """Estimate, sum of squares, and how many observations there were."""
    prior = given.prior(said)
    friction = 0.03

    def residuals(p: FloatArray) -> FloatArray:
        return np.concatenate([_misfits(p, seen, said, friction, given.first_pull), p / prior])

    low = np.array([-5.0, -3.0, 0.0, EARLIEST_DELAY_S])
    high = np.array([5.0, 3.0, MOST_FRICTION, 1.0])
    p = np.array([_first_scale(seen, said), 0.0, 0.02, 0.001])
    for _ in range(2):  # what friction may hold at rest depends on the friction
        solved = least_squares(residuals, p, bounds=(low, high), x_scale=[0.1, 0.1, 0.05, 0.02])
        p = np.clip(solved.x, low + 1e-6, high - 1e-6)
        # A friction that is told as little may still be much.
        friction = float(np.hypot(p[_FRICTION], _spread(solved.jac)[_FRICTION]))
    count = solved.fun.size - 4
    if count < 1:
        return None
    result = Estimate(
        scale=float(np.exp(p[_SCALE])),
        height_m=said.height_m * float(np.exp(p[_HEIGHT])),
        friction_fraction=float(p[_FRICTION]),
        delay_s=float(p[_DELAY]),
        u=_spread(solved.jac),
        agrees=False,
        speed_out_m_s=_speed_out(seen, said, p),
    )
    return result, float(2.0 * solved.cost), count


def _spread(jacobian: FloatArray) -> FloatArray:
    """Standard uncertainties of what was fitted, from weighted residuals' slopes."""
    return np.sqrt(np.maximum(np.diag(np.linalg.pinv(jacobian.T @ jacobian)), 0.0))


def _speed_out(seen: Observed, said: Said, p: FloatArray) -> float | None:
    if len(seen.pulls) < 2:
        return None
    first, after = seen.pulls[:2]
    product_kg = float(np.exp(p[_SCALE])) * said.mass_kg
    told_in, landing = _speeds(
        first, after.onset_s - first.slack_s, product_kg, G * float(p[_FRICTION])
    )
    turned = first.impulse_ns / product_kg - G * first.length_s
    return None if landing is None else turned - told_in


def _first_scale(seen: Observed, said: Said) -> float:
    """Logarithm of a scale to begin with, so that a factor of ten is found."""
    if seen.rest_n and seen.rest_n > 0.0:
        return float(np.clip(np.log(seen.rest_n / (said.mass_kg * G)), -4.0, 4.0))
    return 0.0


def _misfits(
    p: FloatArray,
    seen: Observed,
    said: Said,
    friction: float,
    first_pull: bool,
) -> FloatArray:
    """Each observation less what it should be, over what it is worth."""
    scale, height_m = float(np.exp(p[_SCALE])), said.height_m * float(np.exp(p[_HEIGHT]))
    drag, delay_s = G * float(p[_FRICTION]), float(p[_DELAY])
    product_kg = scale * said.mass_kg
    out: list[float] = []
    if seen.fall_time_s is not None:
        off_s = seen.fall_time_s - delay_s - np.sqrt(2.0 * height_m / (G - drag))
        out.append(float(off_s) / np.hypot(ONSET_U_S, seen.sample_s))
    if seen.rest_n is not None:
        weight_n = said.mass_kg * G
        worth = np.sqrt(
            REST_U_FRACTION**2 + (seen.zero_u_n / weight_n) ** 2 + (scale * friction) ** 2 / 3.0
        )
        out.append((seen.rest_n / weight_n - scale) / float(worth))
    speed_in: float | None = float(np.sqrt(2.0 * (G - drag) * height_m))
    # Without the first pull nothing is known of the speed before the second one either.
    pulls = seen.pulls if first_pull else seen.pulls[1:]
    for number, (one, after) in enumerate(pairwise(pulls)):
        told_in, landing = _speeds(one, after.onset_s - one.slack_s, product_kg, drag)
        if speed_in is None:
            out.append(_IMPOSSIBLE)
        elif number or first_pull:
            out.append((told_in - speed_in) / _speed_u(speed_in, one, product_kg, seen))
        speed_in = landing
    return np.array(out)


def _speed_u(speed_in: float, pull: Pull, product_kg: float, seen: Observed) -> float:
    """What the speed before a pull is worth.

    Line, amplifier and threshold err alike in every pull: n of them are worth one (GUM 5.2.2).
    """
    zero = seen.zero_u_n * pull.length_s / product_kg
    clock = G * np.hypot(ONSET_U_S, seen.sample_s)
    one = np.sqrt((SPEED_U_FRACTION * speed_in) ** 2 + zero**2 + clock**2)
    return float(one * np.sqrt(max(len(seen.pulls) - 1, 1)))


def _speeds(
    pull: Pull, flight_s: float, product_kg: float, drag: float
) -> tuple[float, float | None]:
    """Speed before a pull, and at the end of the flight after it; both downwards.

    A damped line lets go while it is still stretched: the sled then starts its flight
    below where the line comes taut again.
    """
    turned = pull.impulse_ns / product_kg - G * pull.length_s  # v_in + v_out
    moved = pull.moment_ns2 / product_kg - 0.5 * G * pull.length_s**2
    up, down = G + drag, G - drag
    speed_out = flight_s / (1.0 / up + 1.0 / np.sqrt(up * down))
    fallen = 0.0
    for _ in range(12):
        left_m = (turned - speed_out) * pull.length_s - moved
        fallen = speed_out**2 / up - 2.0 * left_m
        if fallen <= 0.0:
            return turned - speed_out, None
        down_s = np.sqrt(fallen / down)
        off = speed_out / up + down_s - flight_s
        slope = 1.0 / up + (speed_out / up + pull.length_s) / np.sqrt(fallen * down)
        speed_out -= off / slope
        if abs(off) < 1e-9:
            break
    return float(turned - speed_out), float(np.sqrt(max(fallen, 0.0) * down))
