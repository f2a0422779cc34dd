"""Top widths: how much of the time near a top is spent nearest to it.

What a rail cuts lingers at its level, whatever the flanks are. A top that is curved is
narrow where it is highest, and one with a corner (a rope whose friction turns round with the
speed) is narrower still; no family of curves has to hold either.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Shares of the top, two by two: time within the first over that within the second. Closed
# forms: near / far of a straight flank, the root of it of a parabola, and with what a rail
# took away added to both of a parabola that is cut.
NEAR = np.array([0.010, 0.015, 0.020])
FAR = np.array([0.05, 0.08, 0.12])
CURVED = np.sqrt(NEAR / FAR)
TAKEN = 0.03 / 0.97  # of the plateau: a rail that cuts 3 % of the peak
CUT = np.sqrt((NEAR + TAKEN) / (FAR + TAKEN))
# How far from a parabola towards a cut one a top may be: where curves that were fitted also
# speak for a whole top, and where they do not. Own choice: halfway, and a little less.
MOST_LIKELY, MOST = 0.5, 0.4
WIDTH_SIGMAS = 2.0  # of a width's uncertainty: 2 % of tops by chance, each side; own choice
FIT_DOWN_TO = 0.9  # of the top, that a curve for its level is laid through; own choice
FIT_DEGREE = 6  # of that curve: a top with shoulders; own choice
LEAST_NEAR = 4  # samples, that a width is counted from: a quarter is one sample; own choice
# Of the top before a break: closed forms in `lingers`; the window down to 10 %, own choice.
BREAK_NEAR, BREAK_FAR, BREAK_DOWN_TO = 0.01, 0.08, 0.9
CORNER_LEVEL, CORNER_HIGH, CORNER_LOW = 0.97, 0.985, 0.9  # of the top; own choice
# Of the time up, that a way down is less than only where something gave; own choice, a line
# that holds is at 1 or more.
CORNER_SHARE = 0.4
LEAST_LINGER = 3  # samples at a rail before a break: two may be a corner; own choice


def is_sharp(
    force_n: FloatArray,
    even_n: FloatArray,
    noise_n: float,
    *,
    likely: bool,
    least: float = LEAST_NEAR,
) -> bool:
    """Whether a top is too narrow at its highest for a rail to have cut 3 % of it.

    Parameters
    ----------
    force_n, even_n : ndarray of float64, shape (n_samples,)
        The contact as measured, and lightly smoothed.
    noise_n : float
        Rms noise of the smoothed force.
    likely : bool
        Whether smooth curves fit the top better than cut ones.
    least : float
        Samples that the narrowest width must have: fewer are noise, or what an amplifier
        behind the rail made of a plateau.
    """
    top_n = level_of(force_n, even_n)
    near, near_u = _widths(even_n, top_n, NEAR, noise_n)
    far, far_u = _widths(even_n, top_n, FAR, noise_n)
    if near.min() < max(least, LEAST_NEAR):
        return False
    share = near / far
    spread = share * np.hypot(near_u / near, far_u / far)
    most = CURVED + (MOST_LIKELY if likely else MOST) * (CUT - CURVED)
    return bool(np.all(share + WIDTH_SIGMAS * spread < most))


def level_of(force_n: FloatArray, even_n: FloatArray) -> float:
    """Level of a top without the luck of its highest sample: of a curve through it."""
    peak = int(np.argmax(even_n))
    below = even_n < FIT_DOWN_TO * even_n[peak]
    before, after = np.flatnonzero(below[:peak]), np.flatnonzero(below[peak:])
    start = int(before[-1]) + 1 if before.size else 0
    stop = peak + int(after[0]) if after.size else below.size
    time = np.linspace(-1.0, 1.0, stop - start)
    if stop - start < 2:
        return float(force_n[peak])  # through one sample there is no curve
    degree = min(FIT_DEGREE, max((stop - start) // 4, 1))
    curve = np.polynomial.Legendre.fit(time, force_n[start:stop], degree, domain=[-1.0, 1.0])
    return float(np.asarray(curve(time)).max())


def _widths(
    even_n: FloatArray, top_n: float, depths: FloatArray, noise_n: float
) -> tuple[FloatArray, FloatArray]:
    """Samples within each depth of the top, and the standard uncertainty of that number.

    At a depth d the flank of a parabola of width w falls by 4 d / w a sample, and noise moves
    each of the two crossings by its own height over that; the sample that is counted or not
    comes beside it.
    """
    counts = np.array([np.count_nonzero(even_n > (1.0 - one) * top_n) for one in depths])
    moved = np.sqrt(2.0) * noise_n / (4.0 * depths * top_n) * counts
    return counts.astype(np.float64), np.hypot(moved, 0.4)


def ends_at_corner(even_n: FloatArray) -> bool:
    """Whether a top ends far sooner than it began: something slipped or gave at its height.

    A line that holds unloads no faster than it was loaded: its damper and its friction make
    the way down the longer one. The times between 10 and 1.5 % below the top are compared.
    """
    top_n = float(np.median(even_n[even_n > CORNER_LEVEL * even_n.max()]))
    high = np.flatnonzero(even_n > CORNER_HIGH * top_n)
    below = even_n < CORNER_LOW * top_n
    before, after = np.flatnonzero(below[: high[0]]), np.flatnonzero(below[high[-1] :])
    if not before.size or not after.size:
        return False
    return bool(int(after[0]) < CORNER_SHARE * (int(high[0]) - int(before[-1])))


def lingers(force_n: FloatArray, even_n: FloatArray, noise_n: float) -> bool:
    """Whether a top that ends with a loss of load may have been at a rail before it.

    A straight rise that breaks is within 1 % of its top for an eighth of the time that it is
    within 8 % of it, a curved one for 0.35 of it. One that lacks 3 % of a straight rise is for
    (1 + 3.1) / (8 + 3.1) = 0.37 or more. Of less than three samples at the top no plateau is
    told, and where noise is as high as the depth nothing is excluded.
    """
    peak = int(np.argmax(even_n))
    low = BREAK_DOWN_TO * even_n[peak]
    before, after = np.flatnonzero(force_n[:peak] < low), np.flatnonzero(force_n[peak:] < low)
    start = int(before[-1]) + 1 if before.size else 0
    stop = peak + int(after[0]) if after.size else force_n.size
    top = force_n[start:stop]
    if top.size < LEAST_LINGER:
        return False
    level_n = float(np.sort(top)[-max(top.size // 4, 1) :].mean())
    near = int(np.count_nonzero(top > (1.0 - BREAK_NEAR) * level_n))
    far = int(np.count_nonzero(top > (1.0 - BREAK_FAR) * level_n))
    if near < LEAST_LINGER:
        return False
    return noise_n > BREAK_NEAR * level_n or near / far > np.sqrt(BREAK_NEAR / BREAK_FAR)
