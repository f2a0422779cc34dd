"""Force over stretch: what the line did, from the motion of the sled that it stopped.

The sled's acceleration is g - F/m. Integrated twice from the moment at which the line
came taut, with the speed of the fall, it gives the sled's way below that place: the
stretch of the line and of all that it hangs on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

FloatArray = npt.NDArray[np.float64]

LEAST_SAMPLES = 24  # of a contact: six for each coefficient of a fit; own choice
LEAST_STRETCH = 0.1  # of the largest: knots and splices pull tight below it; own choice
WORST_FIT = 0.05  # rms of what a fit leaves, of the peak; own choice
LEAST_TANGENT = 0.15  # of the secant: no line hardens by more (own simulation)
WORST_START = 0.3  # force at no stretch that a fit needs, of the peak (own simulation)


@dataclass(frozen=True)
class Stretch:
    """What force over stretch tells of one contact; None where it tells nothing.

    Attributes
    ----------
    max_stretch_m : float or None
        Where the sled stands still.
    energy_absorbed_j : float or None
        Integral of force over stretch until the sled stands still or the line breaks.
    loop_loss : float or None
        Area of the loop, to the moment of slack, over the energy absorbed: what does
        not come back.
    secant_stiffness_n_per_m : float or None
        Peak force over the stretch at that moment.
    line_stiffness_n_per_m, hardening_per_m2, damping_ratio : float or None
        k, b and c / (2 sqrt(k m)) of F = k x (1 + b x**2) + c x', by least squares over
        the contact: k is the tangent at no stretch. None where that form leaves more than
        5 % of the peak, or needs more than 30 % of it at no stretch: a line that slips, tears
        or yields has no stiffness. None after a break.
    force_at_none, misfit : float or None
        Force that the fit needs at no stretch, and the rms that it leaves, of the peak: a line
        that slips needs much, or leaves much.
    slid_share, slid_misfit : float or None
        Of the largest stretch, by how much a part in series slid until the pull was over, if it
        slides as fast as it is pulled; and the rms that this leaves, of the peak. A line that
        slides leaves noise; so does one that creeps and recovers in its flight.
    """

    max_stretch_m: float | None = None
    energy_absorbed_j: float | None = None
    loop_loss: float | None = None
    secant_stiffness_n_per_m: float | None = None
    line_stiffness_n_per_m: float | None = None
    hardening_per_m2: float | None = None
    damping_ratio: float | None = None
    force_at_none: float | None = None
    misfit: float | None = None
    slid_share: float | None = None
    slid_misfit: float | None = None


def force_over_stretch(
    force_n: FloatArray,
    sample_rate_hz: float,
    *,
    onset: float,
    stop: int,
    mass_kg: float,
    taut_speed_m_s: float,
    friction_n: float = 0.0,
    broke: bool = False,
) -> Stretch:
    """Find what force over stretch tells of a contact.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Zero removed, positive in tension.
    sample_rate_hz : float
        Samples per second.
    onset : float
        Index, between samples, at which the line came taut.
    stop : int
        Last index of the contact; of the last moment before a break.
    mass_kg, taut_speed_m_s : float
        Moving mass; its downward speed at onset.
    friction_n : float
        Of the rails, where it is known.
    broke : bool
        The line let go at `stop`.

    Notes
    -----
    An error of one per cent in the speed is two in the energy and about one in the
    stretch.
    """
    first = int(np.ceil(onset))
    force = force_n[first : stop + 1]
    if force.size < LEAST_SAMPLES:
        return Stretch()
    since_s = (first - onset) / sample_rate_hz
    way_m, speed_m_s = motion(force, sample_rate_hz, since_s, mass_kg, taut_speed_m_s, friction_n)
    found = _of_path(force, way_m, speed_m_s, broke=broke)
    # Half a contact does not tell stiffness from damping.
    if broke or found.energy_absorbed_j is None:
        return found
    return _with_fit(found, force, way_m, speed_m_s, mass_kg)


def _of_path(
    force: FloatArray, way_m: FloatArray, speed_m_s: FloatArray, *, broke: bool
) -> Stretch:
    """Largest stretch, energy and secant; nothing where the sled never stands and nothing broke."""
    stands = np.flatnonzero(speed_m_s <= 0.0)
    top = int(stands[0]) if stands.size else force.size - 1
    if not stands.size and not broke:
        return Stretch()
    absorbed_j = float(np.trapezoid(force[: top + 1], way_m[: top + 1]))
    peak = int(np.argmax(force))
    return Stretch(
        max_stretch_m=float(way_m[top]) if stands.size else None,
        energy_absorbed_j=absorbed_j,
        loop_loss=None if broke else _loss(force, way_m, top, absorbed_j),
        secant_stiffness_n_per_m=float(force[peak] / way_m[peak]) if way_m[peak] > 0.0 else None,
    )


def motion(
    force: FloatArray,
    rate_hz: float,
    since_onset_s: float,
    mass_kg: float,
    speed_in_m_s: float,
    friction_n: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Stretch and downward speed at each sample: g - F/m, integrated twice by trapezoids.

    Parameters
    ----------
    force : ndarray of float64, shape (n_samples,)
        Zero removed, positive in tension, n_samples >= 1.
    rate_hz, since_onset_s : float
        Samples per second; of the first one, seconds since the line came taut.
    mass_kg, speed_in_m_s : float
        Moving mass; its speed when the line came taut.
    friction_n : float
        Of the rails, against the motion.

    Returns
    -------
    ndarray, ndarray
        Metres and metres per second, each of shape (n_samples,).
    """
    step_s = 1.0 / rate_hz
    net = STANDARD_GRAVITY_M_PER_S2 - force / mass_kg
    start_m_s = speed_in_m_s + STANDARD_GRAVITY_M_PER_S2 * since_onset_s
    speed = start_m_s + cumulative_trapezoid(net, dx=step_s, initial=0.0)
    if friction_n:
        net -= np.sign(speed) * (friction_n / mass_kg)
        speed = start_m_s + cumulative_trapezoid(net, dx=step_s, initial=0.0)
    way = speed_in_m_s * since_onset_s + cumulative_trapezoid(speed, dx=step_s, initial=0.0)
    return way, speed


def _loss(force: FloatArray, way_m: FloatArray, top: int, absorbed_j: float) -> float | None:
    if absorbed_j <= 0.0:
        return None
    returned_j = -float(np.trapezoid(force[top:], way_m[top:]))
    return 1.0 - returned_j / absorbed_j


def _with_fit(
    found: Stretch, force: FloatArray, way_m: FloatArray, speed_m_s: FloatArray, mass_kg: float
) -> Stretch:
    """Add the fit of k x (1 + b x**2) + c x', where that form holds.

    Whether it holds is asked of the whole contact; the figures are those of the stretch
    above a tenth of the largest: knots and splices pull tight below it.
    """
    far_m, fast_m_s = float(np.abs(way_m).max()), float(np.abs(speed_m_s).max())
    if far_m <= 0.0 or fast_m_s <= 0.0:
        return found
    top = float(force.max())
    x, v = way_m / far_m, speed_m_s / fast_m_s
    whole, left_n = _least_squares(x, v, force)
    if whole is None:
        return found
    slid, slid_left_n = _slid(x, v, force)
    found = replace(
        found,
        force_at_none=float(whole[3]) / top,
        misfit=left_n / top,
        slid_share=slid,
        slid_misfit=slid_left_n / top,
    )
    if left_n > WORST_FIT * top or abs(whole[3]) > WORST_START * top:
        return found
    taut = x > LEAST_STRETCH
    solution, _ = _least_squares(x[taut], v[taut], force[taut])
    if solution is None:
        return found
    stiffness = float(solution[0]) / far_m
    if stiffness <= LEAST_TANGENT * (found.secant_stiffness_n_per_m or 0.0):
        return found
    damping = float(solution[2]) / fast_m_s
    return replace(
        found,
        line_stiffness_n_per_m=stiffness,
        hardening_per_m2=float(solution[1]) / far_m**3 / stiffness,
        damping_ratio=damping / (2.0 * float(np.sqrt(stiffness * mass_kg))),
    )


def _slid(x: FloatArray, v: FloatArray, force: FloatArray) -> tuple[float | None, float]:
    """Share of the stretch that a part in series slid, and the rms that this leaves.

    F = k y (1 + b y**2 + c x') with y = x - s and s' = F / e, to first order in s.
    """
    slid = np.cumsum(force)
    columns = np.stack([x, x**3, x * v, slid / slid[-1]], axis=1)
    solution, _, rank, _ = np.linalg.lstsq(columns, force, rcond=None)
    left_n = float(np.sqrt(np.mean((columns @ solution - force) ** 2)))
    secant_n = float(solution[0] + solution[1])
    share = -float(solution[3]) / secant_n if rank == 4 and secant_n > 0.0 else None
    return share, left_n


def _least_squares(
    x: FloatArray, v: FloatArray, force: FloatArray
) -> tuple[FloatArray | None, float]:
    """Coefficients of x, x**3, v and 1, and the rms of what they leave; None if not told."""
    if x.size < LEAST_SAMPLES:
        return None, 0.0
    # The constant takes up an onset that is a little early or late.
    columns = np.stack([x, x**3, v, np.ones_like(x)], axis=1)
    solution, _, rank, _ = np.linalg.lstsq(columns, force, rcond=None)
    left_n = float(np.sqrt(np.mean((columns @ solution - force) ** 2)))
    return (np.asarray(solution, np.float64) if rank == 4 else None), left_n
